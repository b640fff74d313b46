"""Customers on the command line: who they are, what they got, and a name that is erased on request."""

from __future__ import annotations

from pathlib import Path

from tests.cli.test_commands import as_json, run
from tests.ui.journals import plain_jpeg


def test_a_name_is_erased_on_the_command_line_and_what_they_got_stays(tmp_path: Path) -> None:
    where = tmp_path / "journal"
    run("batch", "start", "B1", "--name", "Oat", journal=where)
    run("batch", "order", "B1=2", "--name", "Shop (invented)", "--details", "555 0100", "--confirmed", journal=where)
    assert run("customer", "list", journal=where).strip() == "Shop (invented)"
    assert "2 bars sold" in run("customer", "show", "shop (INVENTED)", journal=where)
    refused = as_json("customer", "erase", "Shopp", "--why", "asked", code=1, journal=where)["error"]
    assert "No customer on record is called “Shopp”" in refused["what"]
    assert as_json("customer", "erase", "Shop (invented)", "--why", " ", code=1, journal=where)["error"]
    said = run("customer", "erase", "Shop (invented)", "--why", "asked by letter of 3 May", journal=where)
    assert "Backups and exports that were made before still hold it" in said
    assert as_json("customer", "list", journal=where) == {"customers": []}
    called = run("batch", "recall", "B1", journal=where)
    assert "somebody whose name was erased" in called and "2 bars of B1" in called and "555 0100" not in called


def test_a_complaint_with_its_photo_on_the_command_line(tmp_path: Path) -> None:
    where, photo = tmp_path / "journal", tmp_path / "sent.jpg"
    photo.write_bytes(plain_jpeg(1))
    run("batch", "start", "B1", "--name", "Oat", journal=where)
    entry = as_json("batch", "complaint", "B1", "cracked", "--photo", photo, journal=where)["entry"]
    assert entry["photo"]
    photo.write_bytes(b"no picture")
    before = as_json("batch", "history", "B1", journal=where)
    assert as_json("batch", "complaint", "B1", "cracked", "--photo", photo, code=1, journal=where)["error"]["do"]
    assert as_json("batch", "history", "B1", journal=where) == before
