"""Whatever is done to a pack after it was handed over is found, or `verify` says what it can't tell."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, PublicFormat

from pipeline.errors import UserError
from pipeline.evidence import bag
from pipeline.evidence.sign import SIGNATURE, check_signature, read_private_key, sign_bag
from pipeline.evidence.verify import verify_pack
from tests.evidence.conftest import file_bytes


def flip(files: list[Path], chance: random.Random) -> str:
    path = chance.choice([file for file in files if file.stat().st_size])
    data = bytearray(path.read_bytes())
    data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    path.write_bytes(data)
    return path.name


def add(files: list[Path], chance: random.Random) -> str:
    path = chance.choice(files).parent / f"{chance.randrange(1_000)}.csv"
    path.write_bytes(b"" if chance.random() < 0.5 else b"unit_id\nU1\n")
    return path.name


def remove(files: list[Path], chance: random.Random) -> str:
    path = chance.choice(files)
    path.unlink()
    return path.name


def rename(files: list[Path], chance: random.Random) -> str:
    path = chance.choice(files)
    path.rename(path.with_name(f"{path.name}{chance.randrange(10)}"))
    return path.name


def cut(files: list[Path], chance: random.Random) -> str:
    path = chance.choice([file for file in files if file.stat().st_size])
    path.write_bytes(path.read_bytes()[: chance.randrange(path.stat().st_size)])
    return path.name


def swap(files: list[Path], chance: random.Random) -> str:
    one, other = chance.sample(files, 2)
    if (data := one.read_bytes()) == other.read_bytes():
        return flip(files, chance)
    one.write_bytes(other.read_bytes())
    other.write_bytes(data)
    return one.name


@pytest.mark.parametrize("how", [flip, add, remove, rename, cut, swap])
def test_a_hundred_tamperings_are_found(pack, tmp_path, how):
    """Seventeen of each kind at places drawn at random, each in a copy of its own, none with its manifests made anew."""
    chance = random.Random(how.__name__)
    for number in range(17):
        copy = Path(shutil.copytree(pack, tmp_path / str(number)))
        name = how(bag.list_files(copy), chance)
        assert file_bytes(copy) != file_bytes(pack)
        with pytest.raises(UserError) as caught:
            verify_pack(copy)
        assert caught.value.slug == "pack-refuted" and caught.value.exit_code == 5
        assert any(name in line or "manifest" in line for line in caught.value.lines), (name, caught.value.lines)
        shutil.rmtree(copy)


@pytest.mark.parametrize(
    "how",
    [
        lambda text: text.replace(b"\n", b"\r\n"),
        lambda text: b"".join(reversed(text.splitlines(keepends=True))),
        lambda text: text.removesuffix(b"\n"),
        lambda text: text.replace(b"  ", b" \t", 1),
        lambda text: text + text.splitlines(keepends=True)[0],
    ],
)  # fmt: skip
def test_the_tag_manifest_may_not_change_by_a_space(pack_copy, how):
    path = pack_copy / bag.TAG_MANIFEST
    path.write_bytes(how(path.read_bytes()))
    assert any(bag.TAG_MANIFEST in line for line in bag.check_bag(pack_copy))


def test_what_is_no_file_and_no_signature_is_found(pack_copy):
    (pack_copy / SIGNATURE).write_bytes(b"junk")
    assert "no signature" in check_signature(pack_copy, None)[0][0]
    (pack_copy / SIGNATURE).unlink()
    (pack_copy / "data/README.txt").unlink()
    os.mkfifo(pack_copy / "data/README.txt")
    assert bag.check_bag(pack_copy) == ["data/README.txt is a link or a device, no plain file"]


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("received.json", "[" * 100_000),
        ("received.json", '{"files": [{"path": 7}], "dialects": {}, "rules": {}}'),
        ("received.json", "{}"),
        ("pack.json", "[" * 100_000),
        ("pack.json", '{"imo_number": "9999993", "as_of": "soon"}'),
        ("dialects/fleet/log.toml", b"\xff"),
    ],
)
def test_what_can_not_be_read_is_said_in_a_sentence(pack_copy, name, text):
    """A forger's pack with manifests made anew must not bring down who looks at it."""
    (pack_copy / "data" / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    make_anew(pack_copy)
    with pytest.raises(UserError) as caught:
        verify_pack(pack_copy)
    assert caught.value.slug in ("pack-unreadable", "pack-refuted")


def make_anew(pack: Path) -> None:
    """The bag as a forger makes it: payload out, manifests gone, bagged again."""
    info = bag.bagit.Bag(str(pack)).info
    for path in pack.iterdir():
        if path.name != "data" and path.name != SIGNATURE:
            path.unlink()
    for path in list((pack / "data").iterdir()):
        path.rename(pack / path.name)
    (pack / "data").rmdir()
    signature = (pack / SIGNATURE).read_bytes() if (pack / SIGNATURE).exists() else None
    (pack / SIGNATURE).unlink(missing_ok=True)
    bag.make_bag(pack, {name: info[name] for name in info if name != "Payload-Oxum"})
    if signature:
        (pack / SIGNATURE).write_bytes(signature)


def test_an_original_that_was_changed_no_longer_gives_the_figures(pack_copy):
    original = pack_copy / "data/originals/fleet/service.csv"
    before = hashlib.sha256(original.read_bytes()).hexdigest()
    original.write_text(original.read_text().replace("U1,9999993,2025-06-10", "U1,9999993,2025-12-10"))
    make_anew(pack_copy)
    assert bag.check_bag(pack_copy) == []
    with pytest.raises(UserError, match="service.csv has not the checksum that stands there"):
        verify_pack(pack_copy)
    received = pack_copy / "data/received.json"
    received.write_text(received.read_text().replace(before, hashlib.sha256(original.read_bytes()).hexdigest()))
    make_anew(pack_copy)
    with pytest.raises(UserError) as caught:
        verify_pack(pack_copy)
    assert caught.value.slug == "pack-refuted"
    assert any("figure.duty_now.csv: " in line for line in caught.value.lines)
    assert any("record.service.parquet: " in line and "2025-12-10" in line for line in caught.value.lines)


def test_a_table_that_was_changed_is_not_what_the_originals_give(pack_copy):
    table = pack_copy / "data/tables/figure.duty_now.csv"
    assert "overdue" in table.read_text()
    table.write_text(table.read_text().replace("overdue", "in time"))
    make_anew(pack_copy)
    with pytest.raises(UserError) as caught:
        verify_pack(pack_copy)
    assert all("figure.duty_now.csv" in line for line in caught.value.lines) and len(caught.value.lines) == 1


@pytest.fixture
def keys(tmp_path) -> tuple[Path, Path]:
    key = Ed25519PrivateKey.generate()
    private, public = tmp_path / "key.pem", tmp_path / "public.pem"
    private.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    public.write_bytes(key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo))
    return private, public


def test_a_pack_made_anew_as_a_whole_is_found_by_its_signature_alone(pack_copy, keys):
    """The PDF is not worked out again: who changes it and makes the manifests anew is told by the signature, or by nothing."""
    private, public = keys
    sign_bag(pack_copy, read_private_key(private))
    assert "as the holder of that key signed it" in verify_pack(pack_copy, public)[2]
    report = pack_copy / "data/report.pdf"
    report.write_bytes(report.read_bytes() + b"%")
    make_anew(pack_copy)
    with pytest.raises(UserError) as caught:
        verify_pack(pack_copy, public)
    assert "signature does not fit" in caught.value.lines[0]
    (pack_copy / SIGNATURE).unlink()
    assert "can't tell a pack that was made anew" in verify_pack(pack_copy)[2]
    with pytest.raises(UserError) as caught:
        verify_pack(pack_copy, public)
    assert "not signed" in caught.value.lines[0]


def test_openssl_reads_the_signature(pack_copy, keys):
    import subprocess

    private, public = keys
    sign_bag(pack_copy, read_private_key(private))
    asked = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", public, "-rawin", "-in", pack_copy / "tagmanifest-sha256.txt"]
    done = subprocess.run([*asked, "-sigfile", pack_copy / SIGNATURE], capture_output=True, text=True)
    assert "Signature Verified Successfully" in done.stdout, done.stderr
