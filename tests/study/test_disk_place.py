from pathlib import Path
from types import SimpleNamespace

import pytest

from panel.study import safe_write as disk_place
from panel.study.safe_write import place_warning

MOUNTS = (
    "/dev/sda1 / ext4 rw 0 0\nlab:/export /mnt/lab nfs4 rw 0 0\n//nas/share /mnt/my\\040share cifs rw 0 0\n"
    "tmpfs /mnt/lab/scratch tmpfs rw 0 0\n"
)


@pytest.mark.parametrize(
    "folder", ["OneDrive - Lab", "onedrive", "Dropbox", "Google Drive", "iCloud Drive", "Nextcloud", "CloudStorage"]
)
def test_a_synchronised_folder_is_told(tmp_path, folder):
    words = place_warning(tmp_path / folder / "study" / "ballots.sqlite")
    assert f"lies in the folder {folder}, which is copied to other computers" in words
    assert "AFTERFEEL_DATABASE_URL" in words


def test_an_ordinary_place_is_fine(tmp_path):
    assert place_warning(tmp_path / "ballots.sqlite") == ""
    assert place_warning(tmp_path / "no such" / "folder" / "yet.sqlite") == ""


@pytest.mark.parametrize(
    ("place", "network"),
    [
        ("/mnt/lab/ballots.sqlite", True),
        ("/mnt/my share/study/ballots.sqlite", True),
        ("/mnt/lab/scratch/ballots.sqlite", False),
        ("/mnt/laboratory/ballots.sqlite", False),
        ("/home/lab/ballots.sqlite", False),
    ],
)
def test_a_network_mount_is_found_in_the_list_of_mounts(tmp_path, place, network):
    # the format of the list: fstab(5); a space in a path is written \040
    (tmp_path / "mounts").write_text(MOUNTS)
    assert disk_place._on_network_mount(Path(place), tmp_path / "mounts") is network


def test_a_system_without_a_list_of_mounts_is_no_trouble(tmp_path):
    assert not disk_place._on_network_mount(tmp_path / "x", tmp_path / "no list")


@pytest.mark.parametrize(("kind", "told"), [(4, True), (3, False)])  # GetDriveTypeW: 4 remote, 3 fixed
def test_a_network_drive_of_windows_is_told(tmp_path, monkeypatch, kind, told):
    system = SimpleNamespace(kernel32=SimpleNamespace(GetDriveTypeW=lambda root: kind))
    monkeypatch.setattr(disk_place.ctypes, "windll", system, raising=False)
    assert bool(place_warning(tmp_path / "ballots.sqlite")) is told
