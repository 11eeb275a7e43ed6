"""The door for a WSGI server: `collection.wsgi:application`. What is broken is refused here, whichever server asks."""

import os

import django

from collection.handlers import Handler

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
django.setup(set_prefix=False)
application = Handler()

from collection.checks.serving import refuse_broken  # noqa: E402  # it asks tables, which are there only now

refuse_broken()
