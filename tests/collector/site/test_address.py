from __future__ import annotations

from pathlib import Path

import pytest

from collector.site import SiteFileError, load_site


def site_with(folder: Path, address: str) -> str | None:
    path = folder / "site.toml"
    path.write_text(f'[site]\nname = "Baths"\ntime_zone = "UTC"\naddress = "{address}"\n', encoding="utf-8")
    return load_site(path).address


def test_a_site_need_not_be_reachable(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text('[site]\nname = "Baths"\ntime_zone = "UTC"\n', encoding="utf-8")
    assert load_site(path).address is None


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("http://pumps.local:8620", "http://pumps.local:8620"),
        ("http://pumps.local:8620/", "http://pumps.local:8620"),
        ("https://pumps.example", "https://pumps.example"),
        ("http://192.0.2.7:80", "http://192.0.2.7:80"),
        ("http://[2001:db8::7]:8620", "http://[2001:db8::7]:8620"),
    ],
)
def test_an_address_that_a_phone_reaches_is_kept(tmp_path: Path, typed: str, kept: str) -> None:
    # Addresses of RFC 5737 and RFC 3849, kept free for documentation.
    assert site_with(tmp_path, typed) == kept


@pytest.mark.parametrize(
    "typed",
    [
        "http://127.0.0.1:8620",
        "http://localhost",
        "http://[::1]:8620",
        "http://0.0.0.0:8620",
        "http://127.9.9.9",
    ],
)
def test_an_address_of_this_machine_alone_is_no_address_for_a_phone(tmp_path: Path, typed: str) -> None:
    with pytest.raises(SiteFileError, match=r"line 4: site.address: .* is this machine alone"):
        site_with(tmp_path, typed)


@pytest.mark.parametrize(
    "typed",
    [
        "pumps.local", "ftp://pumps.local", "javascript:alert(1)", "http://", "http://pumps.local:99999",
        "http://pumps.local:0", "http://a b", "http://user:pw@pumps.local", "http://pumps.local/deeper",
        "http://pumps.local/?q=1", "http://pumps.local/#x", "http://[::1",
    ],
)  # fmt: skip
def test_what_is_no_plain_address_is_refused_with_an_example(tmp_path: Path, typed: str) -> None:
    with pytest.raises(SiteFileError, match=r"expected one such as 'http://pumps.local:8620'"):
        site_with(tmp_path, typed)
