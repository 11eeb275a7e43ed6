"""People: users, organizations (the tenants), memberships and the history of who did what."""

import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from collection.models.base import MOST_VERSION, Recorded, in_range, one_of, texts_fit

OWNER, TECHNICIAN, VIEWER = "owner", "technician", "viewer"
ROLES = (OWNER, TECHNICIAN, VIEWER)
ROLE_WORDS = {OWNER: "owner", TECHNICIAN: "technician", VIEWER: "site viewer"}

ANGLE_UNITS = ("deg", "mm_per_m")
LENGTH_UNITS = ("mm", "in")


class UserManager(BaseUserManager["User"]):
    """Makes users from an e-mail address."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """Store a new user with a hashed password."""
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user


class User(AbstractBaseUser):
    """A person with an e-mail address; what they may see comes from their memberships alone."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField("e-mail address", unique=True)
    is_active = models.BooleanField(default=True)
    date_joined = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = []
    objects: ClassVar[UserManager] = UserManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="user_email_unique"),
            texts_fit("user", password=128, email=254),
        ]

    def __str__(self) -> str:
        return self.email


class Organization(models.Model):
    """The tenant: one collection or one route business. Everything belongs to exactly one."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=80)
    angle_unit = models.CharField(max_length=8, default="deg")
    length_unit = models.CharField(max_length=2, default="mm")
    created_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            one_of("organization", "angle_unit", ANGLE_UNITS),
            one_of("organization", "length_unit", LENGTH_UNITS),
            in_range("organization", "version", 1, MOST_VERSION),
            texts_fit("organization", name=80),
        ]

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    """One person in one organization: the role, and for a site viewer the sites that may be read."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organization = models.ForeignKey(Organization, on_delete=models.PROTECT, related_name="memberships")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=10)
    sites = models.ManyToManyField("collection.Site", blank=True, related_name="+")
    created_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    #: Whether the person belongs to other organizations too; known of who acts, `access.member_of` says it.
    has_others = False

    class Meta:
        constraints = [
            one_of("membership", "role", ROLES),
            in_range("membership", "version", 1, MOST_VERSION),
            models.UniqueConstraint(
                fields=["organization", "user"],
                condition=models.Q(ended_at__isnull=True),
                name="membership_once_per_person",
            ),
        ]

    @property
    def may_write(self) -> bool:
        """Whether this member changes anything at all."""
        return self.role in (OWNER, TECHNICIAN)

    @property
    def is_owner(self) -> bool:
        """Whether this member decides about people and the organization."""
        return self.role == OWNER

    @property
    def signature(self) -> str:
        """Who acts and for whom, as one word: what a person types on a device is bound to it."""
        return f"{self.user_id}.{self.organization_id}"

    @property
    def role_words(self) -> str:
        """The role as pages show it."""
        return ROLE_WORDS[self.role]


class Change(Recorded):
    """One thing that someone did: to what, when, why, and the named values before and after.

    ``write`` is the key of the write that did it, so that a second sending is known to be one. Folded in the order of
    their numbers, the lines of an organization give all its rows.
    """

    # Counts up, since two lines may be of the same moment. Nobody sends a line, so it needs no key of a client's.
    id = models.BigAutoField(primary_key=True)  # type: ignore[assignment]
    noun = models.CharField(max_length=20)
    row_id = models.UUIDField()
    verb = models.CharField(max_length=40)
    why = models.CharField(max_length=400, blank=True)
    write = models.UUIDField()
    old = models.JSONField(default=dict)
    new = models.JSONField(default=dict)

    class Meta:
        constraints = [
            texts_fit("change", noun=20, verb=40, why=400),
        ]
        indexes = [
            models.Index(fields=["organization", "row_id"], name="change_by_row"),
            models.Index(fields=["organization", "-id"], name="change_newest"),
            models.Index(fields=["write"], name="change_by_write"),
        ]
