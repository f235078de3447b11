"""The application as a server holds it, everything loaded before the first person asks."""

from __future__ import annotations

import gc
from pathlib import Path

from django.core.handlers.wsgi import WSGIHandler
from django.core.wsgi import get_wsgi_application
from django.template import engines
from django.template.backends.django import DjangoTemplates
from django.urls import get_resolver

from regenplant import units


def ready_application() -> WSGIHandler:
    """Loads every page with its templates and units, and takes what is loaded out of the garbage collector's sight.

    Whoever asks first would wait for it else: for most of a second.

    What lives as long as the server is never garbage, and looking through it holds up whichever page happens to be answered: a tenth of
    a second each time.
    """
    application = get_wsgi_application()
    _ = get_resolver().url_patterns
    units.registry()
    for engine in engines.all():
        if isinstance(engine, DjangoTemplates):
            _compile_all(engine)
    gc.collect()
    gc.freeze()
    return application


def _compile_all(engine: DjangoTemplates) -> None:
    """Every template of the program's own folders, so that it is kept compiled."""
    _ = engine.engine.template_context_processors
    for folder in map(Path, engine.engine.dirs):
        for file in sorted(folder.rglob("*.html")):
            engine.get_template(file.relative_to(folder).as_posix())
