"""Telephone numbers go into the call sheet alone; a town goes where addresses go, and changes nothing else."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import pyogrio
import pypdf
import pytest

from netplan.core.findings import Finding
from netplan.network.build import build_network
from netplan.network.contract import layer_specs
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.plan_json import read_plan
from netplan.readers import read_mapping, read_network, write_layers
from netplan.readers.name_matching import similar_column
from tests.support.letters import WORDS
from tests.support.plans import hamlet_result
from tests.support.small_town import small_town

NUMBER = "0000 55"
TOWN = "Quexby"
BEFORE = "2215ea39287742ddc045f997947e469ee4bb25b0b02029983338e5f41ac40ed0"
"""Digest of the small town by the version before the two columns came to the contract (own)."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_plan_folder(
        hamlet_result(), tmp_path_factory.mktemp("numbers") / "plan", choices=Choices(words=WORDS)
    )


def _text(path: Path) -> str:
    if path.suffix == ".pdf":
        with pypdf.PdfReader(path) as reader:
            return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))
    if path.suffix == ".xlsx":
        with zipfile.ZipFile(path) as book:
            return "".join(book.read(name).decode("utf-8", "replace") for name in book.namelist())
    return path.read_bytes().decode("utf-8", "replace")


def test_telephone_numbers_are_on_the_call_sheet_and_nowhere_else(folder: Path) -> None:
    holding = {path.name for path in folder.iterdir() if NUMBER in _text(path)}
    assert holding == {"call_sheet_restricted.pdf"}
    assert (folder / "call_sheet_restricted.pdf").stat().st_mode & 0o077 == 0
    with_town = {path.name for path in folder.iterdir() if TOWN in _text(path)}
    assert with_town >= {"letters.pdf", "notices.csv", "notices.xlsx", "plan.gpkg"}
    assert TOWN not in read_plan(folder).model_dump_json()


def test_a_town_and_a_number_that_are_not_recorded_change_nothing(tmp_path: Path) -> None:
    bare, empty, town, told = (small_town() for _ in range(4))
    for layers in (empty, town, told):
        layers["customers"] = layers["customers"].assign(town="", telephone=None)
    town["customers"]["town"] = "Quexby"
    told["customers"]["telephone"] = "0000 1"
    digests = [build_network(layers).content_sha256 for layers in (bare, empty, town, told)]
    assert digests[0] == digests[1] == BEFORE
    assert len(set(digests)) == 3
    network = read_network(write_layers(told, tmp_path / "told.gpkg"), cache=tmp_path / "kept")
    again = read_network(tmp_path / "told.gpkg", cache=tmp_path / "kept")
    assert set(network.customers.telephone) == {"0000 1"}
    assert again.customers.telephone == network.customers.telephone


def test_the_layer_has_a_town_only_where_one_is_recorded(folder: Path) -> None:
    assert "town" in pyogrio.read_info(folder / "plan.gpkg", layer="customers")["fields"]
    assert "telephone" not in pyogrio.read_info(folder / "plan.gpkg", layer="customers")["fields"]


@pytest.mark.parametrize(
    ("name", "column"),
    [
        ("TOWN", "town"),
        ("Post_Town", "town"),
        ("Ort", "town"),
        ("COMMUNE", "town"),
        ("Woonplaats", "town"),
        ("TELEFON", "telephone"),
        ("Tel_Nr", "telephone"),
        ("PHONE", "telephone"),
        ("mobile_no", "telephone"),
        ("METER_NO", "id"),
        ("TELE_METER", "id"),
    ],
)
def test_columns_of_other_names_are_known(name: str, column: str) -> None:
    taken = {"address", "street", "number", "postcode"}
    assert similar_column(name, layer_specs()["customers"], taken) == column


def test_no_finding_quotes_a_number(tmp_path: Path) -> None:
    layers = small_town()
    layers["customers"]["ring"] = "0000 771"
    source = write_layers(layers, tmp_path / "town.gpkg")
    mapping = tmp_path / "m.toml"
    rest = "".join(
        f'[[{name}]]\nsource = "{name}"\n[{name}.columns]\n'
        + "".join(
            f'{column.name} = "{column.name}"\n'
            for column in layer_specs()[name].columns
            if column.name in layers[name]
        )
        for name in ("mains", "services", "regulators")
    )
    own = (
        '[[customers]]\nsource = "customers"\n[customers.columns]\nid = "id"\naddress = "address"\n'
        'telephone = { from = "ring", values = { "0000 1" = "" }, unlisted = "report" }\n'
    )
    mapping.write_text(rest + own, encoding="utf-8")
    network = read_network(source, mapping=read_mapping(mapping), strict=False)
    found: list[Finding] = [one for one in network.findings if "telephone" in one.what + one.mend]
    assert found
    assert not [one for one in network.findings if "771" in one.what + one.mend]
