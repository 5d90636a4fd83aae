"""Command languages of switches: read strictly, filled in, and found by name."""

from __future__ import annotations

import pytest

from limits.errors import BadInput
from station.errors import UserMistake
from station.instruments.switch_dialect import SHIPPED, find_switch_dialect, load_switch_dialect

TEXT = (SHIPPED / "route-channels.yaml").read_text()


def test_the_shipped_language_closes_a_route_and_asks_for_it() -> None:
    dialect = find_switch_dialect("route-channels", None)
    assert dialect.close("1", "3") == ("ROUT:OPEN:ALL", "ROUT:CLOS (@1!1,2!3)")
    assert dialect.check("1", "3") == ("ROUT:CLOS? (@1!1,2!3)", "1,1")


def test_one_of_the_works_goes_first(tmp_path) -> None:
    (tmp_path / "route-channels.yaml").write_text(TEXT.replace("ROUT:OPEN:ALL", "'*RST'"))
    assert find_switch_dialect("route-channels", tmp_path).close("1", "2")[0] == "*RST"


def test_an_unknown_name_is_told_with_those_there_are() -> None:
    with pytest.raises(UserMistake, match=r"unknown switch dialect 'brass'.*route-channels"):
        find_switch_dialect("brass", None)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("(@1!{first},2!{second})\ncheck", "(@1!{first},2!3)\ncheck", "it must have '{second}'"),
        (
            "CLOS (@1!{first}",
            "CLOS (@1!{frist}",
            "'{frist}' cannot stand here; known are {first} and {second}",
        ),
        ("ROUT:OPEN:ALL", "ROUT:OPEN (@{first})", "'{first}' cannot stand here; no braces can"),
        ("CLOS? (@", "CLOS (@", "is no question"),
        ('"*OPC?"', '"*OPC"', "is no question"),
        ("open_all:", "openall:", "openall"),
        ("switch_dialect: route-channels", "switch_dialect: other", "must be called 'route-channels'"),
        ("2!{second})\n  expect", "2!{second)\n  expect", "braces that do not close"),
    ],
)
def test_each_mistake_is_told(tmp_path, old: str, new: str, said: str) -> None:
    assert old in TEXT
    path = tmp_path / "route-channels.yaml"
    path.write_text(TEXT.replace(old, new))
    with pytest.raises(BadInput) as caught:
        load_switch_dialect(path)
    assert any(said in str(mistake) for mistake in caught.value.mistakes)
