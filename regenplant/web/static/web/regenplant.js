/* regenplant.js: small comforts on top of pages that work without it. No dependency; htmx is a separate file.

   1 the clock in the head goes on, by the server's time
   2 a bar says when the network is gone
   3 a form is sent once
   4 (pad.js) the number pad writes into its fields
   5 a hand scanner works wherever the page stands
   6 a signature: the password can be shown while it is typed, and no scanned code runs into it
   7 a bar says a minute before a terminal that nobody touches is signed out; typing counts as touching
   8 a refused form opens at what was refused, not at the top of the page
   9 (pad.js) what stood open stays open when a part of the page is renewed */
(function () {
  "use strict";

  /* 1: the server's clock, not the tablet's: only the difference since loading is taken from the tablet */
  var clock = document.querySelector("[data-clock]");
  var started = performance.now();
  var serverStart = clock ? Date.parse(clock.dateTime) : NaN;
  var zone = clock && /([+-])(\d\d):(\d\d)$/.exec(clock.dateTime);
  var offset = zone ? (zone[1] === "-" ? -1 : 1) * (Number(zone[2]) * 60 + Number(zone[3])) * 60000 : 0;
  function plantTime() {
    return new Date(serverStart + (performance.now() - started) + offset).toISOString().slice(11, 16);
  }
  if (clock && !isNaN(serverStart)) {
    setInterval(function () {
      clock.querySelector("[data-clock-time]").textContent = plantTime();
    }, 5000);
  }

  /* 2 */
  var bar = document.getElementById("offline");
  function gone(event) {
    if (bar && bar.hidden) {
      var isAway = event.type === "htmx:responseError";
      bar.querySelector("[data-offline-what]").textContent = isAway ? "The record does not answer" : "No network";
      bar.querySelector("[data-offline-since]").textContent = isNaN(serverStart) ? "now" : plantTime();
      bar.hidden = false;
    }
  }
  function back() {
    if (bar) { bar.hidden = true; }
  }
  window.addEventListener("offline", gone);
  window.addEventListener("online", back);
  document.addEventListener("htmx:sendError", gone);
  document.addEventListener("htmx:responseError", function (event) {
    if (event.detail.xhr.status === 503) { gone(event); }      /* the server is there, its database is not */
  });
  document.addEventListener("htmx:afterOnLoad", back);

  /* 3: the server refuses a second copy as well; this saves the person the refusal */
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (form.method !== "post" || event.defaultPrevented) { return; }
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    if (event.submitter) { event.submitter.setAttribute("aria-busy", "true"); }
    setTimeout(release, 8000);                    /* an answer that is a paper leaves the page standing */
  });
  function release() {
    document.querySelectorAll("form[data-sent]").forEach(function (form) { delete form.dataset.sent; });
    document.querySelectorAll("[aria-busy]").forEach(function (part) { part.removeAttribute("aria-busy"); });
  }
  window.addEventListener("pageshow", release);
  window.addEventListener("offline", release);

  /* 5: a scanner types faster than any person and ends with Enter; only then is it taken as a scan */
  var typed = "";
  var last = 0;
  document.addEventListener("keydown", function (event) {
    var box = document.getElementById("scan");
    if (!box || event.ctrlKey || event.altKey || event.metaKey) { return; }
    if (event.target.closest("input, textarea, select, [contenteditable]")) { return; }
    var now = performance.now();
    if (now - last > 40) { typed = ""; }
    last = now;
    if (event.key.length === 1) { typed += event.key; return; }
    if (event.key === "Enter" && typed.length >= 4) {
      event.preventDefault();
      box.value = typed;
      typed = "";
      box.form.requestSubmit();
    }
  });

  /* 6: Enter never signs, with or without this script (the form's first button is dead); a burst of keys that ends with
     Enter was a scanner: what it wrote is taken out again */
  document.querySelectorAll("form[data-signing]").forEach(function (form) {
    var secrets = form.querySelectorAll("input[data-secret]");
    var show = form.querySelector("[data-show-secret]");
    function open(yes) {
      show.firstElementChild.setAttribute("aria-pressed", String(yes));
      secrets.forEach(function (field) { field.type = yes ? "text" : "password"; });
    }
    if (secrets.length) {
      show.hidden = false;
      show.addEventListener("click", function () { open(secrets[0].type === "password"); });
      form.addEventListener("submit", function () { open(false); });
    }
    var before = "", count = 0, lastKey = 0;
    form.addEventListener("keydown", function (event) {
      var field = event.target;
      if (field.tagName !== "INPUT") { return; }
      var now = performance.now();
      if (now - lastKey > 40) { before = field.value; count = 0; }
      lastKey = now;
      if (event.key.length === 1) { count += 1; }
      if (event.key !== "Enter") { return; }
      event.preventDefault();
      if (count >= 4) {
        field.value = before;
        form.querySelector("[data-scan-refused]").hidden = false;
      }
    });
  });

  /* 7: the button asks for /stay/ when it is pressed, and when somebody types who has sent nothing for a while */
  var leaving = document.getElementById("leaving");
  if (leaving) {
    var stay = leaving.querySelector("button");
    var idle = Number(leaving.dataset.idleSeconds) * 1000;
    var touched = performance.now(), asked = touched;
    var tell = function () { leaving.hidden = idle - (performance.now() - touched) > 60000; };
    stay.addEventListener("htmx:afterRequest", function (event) {
      if (event.detail.successful) { touched = performance.now(); tell(); }
    });
    document.addEventListener("input", function () {
      if (performance.now() - asked > Math.min(idle / 4, 300000)) {
        asked = performance.now();
        htmx.trigger(stay, "typed");
      }
    });
    document.addEventListener("signed-out", function () {
      leaving.hidden = false;
      leaving.classList.add("gone");
    });
    setInterval(tell, 5000);
  }

  /* 8: the field is under the hand at once; a refusal of the whole form is brought into view and read out */
  window.addEventListener("load", function () {  /* not before: going to the #part of an address takes the focus away */
    var refused = document.querySelector("main form .err, main [role=alert]");
    if (!refused) { return; }
    var own = refused.closest(".field");
    var field = own && own.querySelector("input:not([type=hidden]), select, textarea");
    if (!field) { refused.tabIndex = -1; }
    (field || refused).focus({ preventScroll: true });
    (own || refused).scrollIntoView({ block: "center" });
  });

  /* the menu behind the name shuts when the person goes on elsewhere */
  document.addEventListener("click", function (event) {
    document.querySelectorAll(".menu[open]").forEach(function (menu) {
      if (!menu.contains(event.target)) { menu.open = false; }
    });
  });
  document.addEventListener("keydown", function (event) {
    var menu = event.key === "Escape" && document.querySelector(".menu[open]");
    if (menu) { menu.open = false; menu.querySelector("summary").focus(); }
  });
})();
