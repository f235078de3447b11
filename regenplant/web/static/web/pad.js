/* pad.js: for pages on which people write with gloves on, while they renew themselves. Numbers as in regenplant.js.

   4 the number pad writes into its fields
   9 what stood open stays open when a part of the page is renewed */
(function () {
  "use strict";

  /* 4 */
  function tellField(field) { field.dispatchEvent(new Event("input", { bubbles: true })); }
  function write(field, text) {
    var start = field.selectionStart === null ? field.value.length : field.selectionStart;
    var end = field.selectionEnd === null ? start : field.selectionEnd;
    field.setRangeText(text, start, end, "end");
    tellField(field);
  }
  function rub(field) {
    if (field.selectionStart === field.selectionEnd && field.selectionStart > 0) {
      field.setSelectionRange(field.selectionStart - 1, field.selectionEnd);
    }
    write(field, "");
  }
  /* a pad may serve several fields in turn: it writes into the one that was pressed last, and puts the unit of the last
     reading behind a bare number when the hand goes on */
  function stops(pad) {
    return pad.dataset.pad.split(" ").map(function (id) { return document.getElementById(id); }).filter(Boolean);
  }
  function chosen(pad) {
    var fields = stops(pad);
    return fields.find(function (field) { return field.id === pad.dataset.at; }) || fields[0];
  }
  function choose(pad, field) {
    var fields = stops(pad), next = fields[fields.indexOf(field) + 1] || fields[0], fold = pad.closest("details");
    var isShown = fields.length > 1 && (!fold || fold.open);
    pad.dataset.at = field.id;
    fields.forEach(function (one) { one.closest(".field").classList.toggle("on", isShown && one === field); });
    pad.querySelectorAll("[data-of]").forEach(function (key) { key.hidden = key.dataset.of !== field.id; });
    var name = pad.querySelector("[data-next]"), label = next.closest(".field").querySelector("label");
    if (name) { name.textContent = label ? label.firstChild.textContent.trim() : ""; }
    var own = field.closest(".field").querySelector("label");   /* in sight while the field may not be */
    pad.querySelector("[data-echo]").textContent = (own ? own.firstChild.textContent.trim() : "") + ": " + field.value;
  }
  function withUnit(pad) {
    stops(pad).forEach(function (field) {
      var key = pad.querySelector("[data-of='" + field.id + "'][aria-pressed=true]");
      if (key && /^[\d.,\s]+$/.test(field.value)) { field.value = field.value.trim() + " " + key.dataset.unit; tellField(field); }
    });
  }
  function wire(root) {
    root.querySelectorAll(".pad[data-pad]").forEach(function (pad) {
      var fields = stops(pad), fold = pad.closest("details[data-pad-fold]");
      if (!fields.length) { return; }
      pad.hidden = false;
      choose(pad, fields[0]);
      fields.forEach(function (field) { ["focus", "input"].forEach(function (name) { field.addEventListener(name, function () { choose(pad, field); }); }); });
      if (!fold) { return; }
      var quiet = function () {                    /* while the pad is open the tablet's own keys stay away */
        fields.forEach(function (field) { field.setAttribute("inputmode", fold.open ? "none" : "text"); });
        choose(pad, chosen(pad));
      };
      fold.addEventListener("toggle", quiet);
      if (matchMedia("(pointer: coarse)").matches) { fold.open = true; }
      quiet();
    });
  }
  document.addEventListener("click", function (event) {
    var key = event.target.closest(".pad[data-pad] button");
    if (!key) { return; }
    var pad = key.closest(".pad"), field = chosen(pad);
    if (key.type === "submit") { withUnit(pad); return; }
    if (!field) { return; }
    if (key.dataset.key) { write(field, key.dataset.key); }
    if (key.dataset.unit) {
      field.value = field.value.replace(/[^\d.,:+\-\s].*$/, "").trim() + " " + key.dataset.unit;
      tellField(field);
    }
    if (key.dataset.do === "rub") { rub(field); }
    if (key.dataset.do === "clear") { field.value = ""; tellField(field); }
    if (key.dataset.do === "next") {
      withUnit(pad);
      var fields = stops(pad), next = fields[fields.indexOf(field) + 1] || fields[0];
      next.focus({ preventScroll: true });
      choose(pad, next);
    }
  });
  wire(document);
  document.addEventListener("htmx:load", function (event) { if (event.target !== document.body) { wire(event.target); } });

  /* 9: focus stays with htmx, by the id of what has it */
  var standing = [];
  document.addEventListener("htmx:beforeSwap", function () {
    standing = Array.prototype.map.call(document.querySelectorAll("details[open][id]"), function (one) { return one.id; });
  });
  document.addEventListener("htmx:afterSettle", function () {
    standing.forEach(function (id) {
      var one = document.getElementById(id);
      if (one) { one.open = true; }
    });
  });
})();
