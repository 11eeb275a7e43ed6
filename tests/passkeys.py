"""A passkey in software: it makes what a browser sends, so that tests may bend each part of it (W3C, Web
Authentication Level 3, 6.1 and 7)."""

import hashlib
import json
from dataclasses import dataclass, field
from typing import Any

from allauth.mfa.models import Authenticator
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from fido2.cose import ES256
from fido2.utils import websafe_encode
from fido2.webauthn import Aaguid, AttestationObject, AttestedCredentialData, AuthenticatorData

from collection import models

#: What the test client calls its host; a browser takes no other origin for it.
HOST, ORIGIN = "testserver", "https://testserver"
PRESENT, VERIFIED, WITH_KEY = 0x01, 0x04, 0x40


@dataclass(frozen=True)
class SoftKey:
    """The key of one person; ``id`` is what the server knows it by."""

    user: models.User
    id: bytes = b"a key of sixteen"
    private: ec.EllipticCurvePrivateKey = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))

    def made(self, challenge: str = "AA", *, alone: bool = True, flags: int = PRESENT | VERIFIED) -> dict[str, Any]:
        """Return what a browser sends once it made this key."""
        public = ES256.from_cryptography_key(self.private.public_key())
        data = AttestedCredentialData.create(Aaguid.NONE, self.id, public)
        told = AuthenticatorData.create(_hash(HOST.encode()), flags | WITH_KEY, 0, data)
        response = {
            "clientDataJSON": websafe_encode(_client_data("webauthn.create", challenge, ORIGIN)),
            "attestationObject": websafe_encode(AttestationObject.create("none", told, {})),
        }
        return self._sent(response, {"credProps": {"rk": alone}})

    def answer(
        self, challenge: str, *, origin: str = ORIGIN, host: str = HOST, flags: int = PRESENT | VERIFIED
    ) -> dict[str, Any]:
        """Return what a browser sends when this key answers a challenge."""
        told = AuthenticatorData.create(_hash(host.encode()), flags, 1)
        client_data = _client_data("webauthn.get", challenge, origin)
        response = {
            "clientDataJSON": websafe_encode(client_data),
            "authenticatorData": websafe_encode(told),
            "signature": websafe_encode(self.private.sign(told + _hash(client_data), ec.ECDSA(SHA256()))),
            "userHandle": websafe_encode(self.user.pk.hex.encode()),
        }
        return self._sent(response, {})

    def _sent(self, response: dict[str, str], results: dict[str, Any]) -> dict[str, Any]:
        name = websafe_encode(self.id)
        return {
            "id": name, "rawId": name, "type": "public-key", "response": response, "clientExtensionResults": results,
        }  # fmt: skip


def with_passkey(user: models.User, name: str = "Phone", *, key: SoftKey | None = None, alone: bool = True) -> Any:
    """Give a person a passkey, and return the row that keeps it."""
    key = key or SoftKey(user, id=name.encode().ljust(16)[:16])
    data = {"name": name, "credential": key.made(alone=alone)}
    return Authenticator.objects.create(user=user, type=Authenticator.Type.WEBAUTHN, data=data)


def _client_data(kind: str, challenge: str, origin: str) -> bytes:
    return json.dumps({"type": kind, "challenge": challenge, "origin": origin, "crossOrigin": False}).encode()


def _hash(data: bytes) -> bytes:
    return hashlib.sha256(data).digest()
