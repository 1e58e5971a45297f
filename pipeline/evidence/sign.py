"""A signature of a bag's tag manifest with a key that the user holds. In: PEM files. Out: 64 bytes beside the manifest, or whether they fit.

Ed25519 (RFC 8032), by the cryptography library; `openssl pkeyutl -verify -rawin` reads it as well.
"""

from __future__ import annotations

from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key, load_pem_public_key

from pipeline.errors import UserError
from pipeline.evidence.bag import SIGNATURE, TAG_MANIFEST

LENGTH = 64  # bytes


def read_private_key(path: Path) -> Ed25519PrivateKey:
    """An Ed25519 key from a PEM file (PKCS 8) without a password. Raises UserError bad-key."""
    return _read_key(path, lambda data: load_pem_private_key(data, None), Ed25519PrivateKey, "a private key")


def read_public_key(path: Path) -> Ed25519PublicKey:
    """An Ed25519 key from a PEM file. Raises UserError bad-key."""
    return _read_key(path, load_pem_public_key, Ed25519PublicKey, "a public key")


def _read_key(path: Path, load, kind: type, said: str):
    try:
        key = load(path.read_bytes())
    except OSError as error:
        raise UserError("bad-key", path=path, kind=said, why=error.strerror) from error
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise UserError("bad-key", path=path, kind=said, why=str(error).splitlines()[0]) from error
    if not isinstance(key, kind):
        raise UserError("bad-key", path=path, kind=said, why=f"it is another kind, {type(key).__name__}")
    return key


def sign_bag(bag: Path, key: Ed25519PrivateKey) -> None:
    """Write the signature of the tag manifest, which vouches for every other file."""
    (bag / SIGNATURE).write_bytes(key.sign((bag / TAG_MANIFEST).read_bytes()))


def check_signature(bag: Path, key: Ed25519PublicKey | None) -> tuple[list[str], str]:
    """(findings, what can be told): with a key the signature must fit it; without one nobody can tell who made the pack."""
    is_signed = (bag / SIGNATURE).is_file()
    if is_signed and (bag / SIGNATURE).stat().st_size != LENGTH:
        return [f"{SIGNATURE} was added or changed: it is no signature"], ""
    if key is None:
        held = "It is signed; give the signer's public key with --key to have it checked." if is_signed else "It is not signed."
        return [], f"{held} Checksums alone can't tell a pack that was made anew as a whole from the one that was handed over."
    if not is_signed:
        return [f"{SIGNATURE} is missing: the pack is not signed, or the signature was taken away"], ""
    try:
        key.verify((bag / SIGNATURE).read_bytes(), (bag / TAG_MANIFEST).read_bytes())
    except InvalidSignature:
        return ["the signature does not fit this pack and that key: the manifest was made anew, or someone else signed it"], ""
    return [], "The signature fits: the pack is as the holder of that key signed it."
