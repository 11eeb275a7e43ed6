"""The door for a WSGI server: `collection.wsgi:application`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
application = get_wsgi_application()
