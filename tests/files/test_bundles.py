"""What comes from elsewhere is checked before it is read: archives that unpack to too much, links, names that lead out, pages."""
import json
import os
import re
import stat
import zipfile
from pathlib import Path

import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.files import bundles
from fieldsolve.files.bundles import check_archive, check_files_within, is_plain_name
from fieldsolve.records.log.entry import ENTRY, FORMAT, read_entry
from fieldsolve.shot.kept.container import read_container, read_header, write_container

SHEET = Path(fs.__file__).parent / "report" / "sheet"


def archive(path, members, **attributes):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in members.items():
            info = zipfile.ZipInfo(name)
            info.compress_type = zipfile.ZIP_DEFLATED
            for key, value in attributes.items():
                setattr(info, key, value)
            file.writestr(info, data)
    return path


def checked(path):
    with zipfile.ZipFile(path) as file:
        check_archive(file, path.name)


@pytest.mark.parametrize(("name", "plain"), [
    ("a.json", True), ("arrays/0.npy", True), ("../a", False), ("a/../../b", False),
    ("/etc/passwd", False), ("c:\\a", False), ("a\\b", False),
    ("", False), ("..", False), ("a\0b", False),
])
def test_names_that_lead_out_are_known(name, plain):
    assert is_plain_name(name) is plain


@pytest.mark.parametrize("name", ["../../evil.json", "/etc/cron.d/x", "a/../../b"])
def test_an_archive_with_a_name_that_leads_out_is_refused(tmp_path, name):
    with pytest.raises(InputError, match="which leads out of it"):
        checked(archive(tmp_path / "a.zip", {name: b"x"}))


def test_an_archive_with_a_link_is_refused(tmp_path):
    with pytest.raises(InputError, match="which is a link"):
        checked(archive(tmp_path / "a.zip", {"header.json": b"/etc/passwd"}, external_attr=(stat.S_IFLNK | 0o777) << 16))


def test_an_archive_that_unpacks_to_too_much_is_refused_before_it_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr(bundles, "LARGEST", 3_000_000)
    monkeypatch.setattr(zipfile.ZipFile, "read", lambda *_: pytest.fail("it was read"))
    with pytest.raises(InputError, match=r"unpacks to 0.004 GB, more than 0.003 GB"):
        checked(archive(tmp_path / "a.zip", {f"arrays/{k}.npy": os.urandom(1000) + b"\0" * 999_000 for k in range(4)}))


def test_a_member_whose_size_cannot_be_is_refused(tmp_path):
    """The directory claims 2 GB of 100 bytes: no honest file of this kind can."""
    path = archive(tmp_path / "a.zip", {"content.json": b"{}"})
    with zipfile.ZipFile(path) as file:
        file.infolist()[0].file_size = 1_999_999_999
        with pytest.raises(InputError, match="which unpacks from 4 to 1999999999 bytes"):
            check_archive(file, path.name)


def test_honest_zeros_are_not_refused(tmp_path):
    checked(archive(tmp_path / "a.zip", {"arrays/0.npy": bytes(30_000_000)}))


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_that_is_there_twice_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as file:
        file.writestr("content.json", b"1")
        file.writestr("content.json", b"2")
    with pytest.raises(InputError, match=r"holds 'content.json' twice"):
        checked(tmp_path / "a.zip")


@pytest.mark.parametrize(("members", "words"), [
    ({"header.json": b"[" * 100_000}, "no kept shot"), ({"header.json": b" " * 2_000_000 + b"{}"}, "no kept shot"),
    ({"header.json": b'{"format": "fieldsolve shot", "version": 1}'}, "has changed since"), ({}, "no kept shot"),
    ({"header.json": b'{"format": "fieldsolve shot", "version": 7, "software": []}'}, "reads up to format 1: install the later version"),
])
def test_absurd_headers_are_one_error(tmp_path, members, words):
    path = archive(tmp_path / "a.shot.npz", members)
    with pytest.raises(InputError, match=words):
        read_container(path)


def test_content_that_is_signed_and_still_absurd_is_one_error(tmp_path, monkeypatch):
    """Nested content, arrays of objects, and an array that claims more than its bytes: none reaches the memory it claims."""
    import numpy as np

    from fieldsolve.shot.kept import container

    huge = b"\x93NUMPY\x01\x00" + (118).to_bytes(2, "little") + b"{'descr': '<f8', 'fortran_order': False, 'shape': (1000000000000,), }"
    huge = huge.ljust(10 + 117) + b"\n" + b"\0" * 8
    for members in ([("content.json", b"[" * 200_000)], [("content.json", b"{}"), ("arrays/0.npy", huge)],
                    [("content.json", b"{}"), ("arrays/5.npy", huge)], [("content.json", b"{}"), ("arrays/0.npy", b"no array")]):
        monkeypatch.setattr(container, "_members", lambda content, arrays, members=members: iter(members))
        write_container(tmp_path / "a.shot.npz", {}, [np.zeros(1)], {})
        assert read_header(tmp_path / "a.shot.npz")["version"] == 1
        with pytest.raises(InputError, match=r"a\.shot\.npz: holds what no kept shot holds"):
            read_container(tmp_path / "a.shot.npz")


def test_a_folder_whose_files_are_links_or_lead_out_is_refused(tmp_path):
    (tmp_path / "bundle" / "sub").mkdir(parents=True)
    (tmp_path / "secret").write_text("x")
    (tmp_path / "bundle" / "sub" / "link.csv").symlink_to(tmp_path / "secret")
    (tmp_path / "bundle" / "fine.csv").write_text("1")
    check_files_within(tmp_path / "bundle", ["fine.csv", None, "sub/not_there.csv"])
    with pytest.raises(InputError, match=r"sub/link\.csv is a link"):
        check_files_within(tmp_path / "bundle", ["sub/link.csv"])
    for name in ("../secret", str(tmp_path / "secret"), 5):
        with pytest.raises(InputError, match="which leads out of it"):
            check_files_within(tmp_path / "bundle", [name])


def test_a_metal_file_from_outside_of_the_case_s_folder_is_said(tmp_path):
    metal = '[coil]\nshape = "ring"\nradius = "20 mm"\nwire_diameter = "2 mm"\nmaterial = "{}"\n'
    source = Path(fs.__file__).parent / "materials" / "data" / "copper.toml"
    (tmp_path / "rig").mkdir()
    for folder in (tmp_path, tmp_path / "rig"):
        (folder / "mine.toml").write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "rig" / "rig.toml").write_text(metal.format("../mine.toml"))
    with pytest.warns(UserWarning, match=re.escape(f"rig.toml: takes the metal file {tmp_path.resolve() / 'mine.toml'} from outside")):
        fs.read_case(tmp_path / "rig" / "rig.toml")
    (tmp_path / "rig" / "rig.toml").write_text(metal.format("mine.toml"))
    import warnings
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fs.read_case(tmp_path / "rig" / "rig.toml")


OWN_SCRIPTS = (                         # of the slider: data, and the one script that the page's policy lets run by its hash
    '<script type="application/json" id="slider-pictures">{{ slider_data }}</script>', "<script>{{ script }}</script>")


def test_every_page_lets_nothing_in_but_its_own_pictures_and_styles():
    pages = [path for path in SHEET.glob("*.j2") if "<html" in path.read_text(encoding="utf-8")]
    assert len(pages) >= 6
    for page in pages:
        text = page.read_text(encoding="utf-8")
        policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
        assert policy and policy[1].startswith("default-src 'none'; img-src data:; style-src 'unsafe-inline'"), page.name
        assert text.index("Content-Security-Policy") < text.index("<title>")
        for own in OWN_SCRIPTS:
            text = text.replace(own, "")
        assert not re.search(r"<script|\son\w+=|\|\s*safe\b|https?://", text), page.name


STORED = {"title": "", "created": "2026-01-05T10:00:00+00:00", "coils": ["coil"], "bodies": ["disc"],
          "prediction": {"sha256": "", "wall_margin_assessed": False}}


@pytest.mark.parametrize(("stored", "words"), [
    ({**STORED, "case": {"file": "../../rig.toml", "sha256": "", "metals": []}}, "names the file '../../rig.toml', which leads out of it"),
    ({**STORED, "case": {"file": "rig.toml", "sha256": "", "metals": [{"file": "/etc/passwd", "sha256": ""}]}},
     "names the file '/etc/passwd'"),
    ({}, "is not what a log holds there"), ({**STORED, "case": []}, "is not what a log holds there"),
])
def test_a_log_that_names_files_outside_or_none_is_refused(tmp_path, stored, words):
    (tmp_path / ENTRY).write_text(json.dumps({"format": FORMAT, "version": 1, **stored}))
    with pytest.raises(InputError, match=re.escape(words)):
        read_entry(tmp_path)
