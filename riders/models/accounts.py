from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models


class User(AbstractUser):
    """An account. What it may do follows from its roles: rider, judge, office of a competition, association, staff."""

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class ApiToken(models.Model):
    """A key to the API for a program acting for its owner; only its digest is stored."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="api_tokens")
    name = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    hint = models.CharField(max_length=12, help_text="The first characters, to tell tokens apart.")
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]


class AssociationRole(models.Model):
    """Someone who keeps the ledger, the seasons and the schemes of an association."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="association_roles")
    association = models.ForeignKey("riders.Association", on_delete=models.CASCADE, related_name="roles")

    class Meta:
        ordering = ["association", "user"]
        constraints = [
            models.UniqueConstraint(fields=["user", "association"], name="association_role_once"),
        ]
