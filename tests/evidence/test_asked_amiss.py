"""What can't be packed or verified: one clear sentence, a non-zero exit, and nothing left behind."""

from __future__ import annotations

import zipfile

import pytest

from pipeline.cli import main
from tests.conftest import VESSEL_A


@pytest.fixture
def ask(kept_store, tmp_path, capsys):
    """Call with arguments; gives (exit code, what was said on the standard error)."""

    def call(*arguments: str, store=kept_store) -> tuple[int, str]:
        code = main(["evidence", "--store", str(store), "--no-pdf", *arguments])
        said = capsys.readouterr().err
        assert said.count("\n") == (1 if code else 0), said
        return code, said

    return call


def test_what_can_not_be_packed(ask, tmp_path):
    out = ("--out", str(tmp_path / "pack"))
    wrong = {
        (
            "--vessel",
            "1234567",
            *out,
        ): "No list of vessels that was known by then names '1234567': give an IMO number, seven digits, of these: 9999979 Far Curlew",
        (
            "--vessel",
            VESSEL_A,
            "--as-of",
            "2011-01-01",
            *out,
        ): "On 2011-01-01 there was no record yet of 9999993: its first is of 2018-01-01",
        ("--vessel", VESSEL_A, "--as-of", "tomorrow", *out): "--as-of 'tomorrow' is not a date",
        ("--vessel", VESSEL_A, "--from", "x", *out): "--from 'x' is not a date",
        (
            "--vessel",
            VESSEL_A,
            "--as-of",
            "2026-01-01",
            "--from",
            "2026-01-02",
            *out,
        ): "The period would begin on 2026-01-02, after",
        ("--vessel", VESSEL_A, "--known-at", "1999-01-01", *out): "No file that counts had been received by 1999-01-01",
        ("--vessel", VESSEL_A, "--redact", "Captain", *out): "No enclosed file has a column 'Captain'",
        (
            "--vessel",
            VESSEL_A,
            "--sign",
            str(tmp_path / "none.pem"),
            *out,
        ): "none.pem can't be used as a private key (No such file",
    }
    for arguments, said in wrong.items():
        code, told = ask(*arguments)
        assert code == 2 and said in told, told
        assert list(tmp_path.iterdir()) == []
    code, told = ask("--vessel", VESSEL_A, *out, store=tmp_path / "none")
    assert code == 2 and "holds no file yet" in told and not (tmp_path / "none").exists()


def test_a_pack_is_never_written_over(ask, tmp_path):
    (tmp_path / "pack").mkdir()
    code, told = ask("--vessel", VESSEL_A, "--out", str(tmp_path / "pack"))
    assert code == 2 and "is there already" in told


def test_what_can_not_be_verified(tmp_path, capsys):
    (tmp_path / "text.zip").write_text("no zip")
    with zipfile.ZipFile(tmp_path / "out.zip", "w") as packed:
        packed.writestr("../evil.txt", "x")
    (tmp_path / "empty").mkdir()
    for name, slug, code in (
        ("none", "no-pack", 2),
        ("text.zip", "pack-unreadable", 5),
        ("out.zip", "pack-unreadable", 5),
        ("empty", "pack-refuted", 5),
    ):
        assert main(["verify", str(tmp_path / name)]) == code
        assert f"[{slug}]" in capsys.readouterr().err
    assert not (tmp_path.parent / "evil.txt").exists()
