"""The folder of an emergency answer: read what is there, replace every file as a whole."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from netplan.core.errors import BadInputError
from netplan.outputs.atomic_writes import write_error_line, write_file
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile.emergency_answer import EmergencyAnswer
from netplan.planfile.emergency_json import EMERGENCY_JSON, emergency_to_json, read_emergency

if TYPE_CHECKING:
    from netplan.network.model import Network
    from netplan.outputs.emergency.network_in_view import NetworkInView

__all__ = ["EMERGENCY_PAGE", "earlier_answer", "write_answer"]

EMERGENCY_PAGE: Final = "emergency.html"


def earlier_answer(folder: Path) -> EmergencyAnswer | None:
    """Return the answer before in a folder; None where the folder is not there or empty.

    Raises
    ------
    BadInputError
        When it is no folder, holds other things than an answer, or an answer that cannot be read.
    """
    if not folder.exists() and not folder.is_symlink():
        return None
    if folder.is_symlink() or not folder.is_dir():
        raise BadInputError(f"{folder}: is a file, link or device; choose another --out")
    found = read_emergency(folder)
    if found is None and any(folder.iterdir()):
        raise BadInputError(f"{folder}: holds other things than an emergency answer; choose another --out")
    return found


def write_answer(
    folder: Path, answer: EmergencyAnswer, network: Network, figures: Figures = METRIC
) -> NetworkInView:
    """Write emergency.json, then the page: whoever reads a file finds the old one or the new one, whole.

    Parameters
    ----------
    folder : Path
    answer : EmergencyAnswer
    network : Network
        The one the answer was made from: the maps are drawn from it.
    figures : Figures
        How the page writes figures.

    Returns
    -------
    NetworkInView
        What `write_sheet` draws from.

    Raises
    ------
    BadInputError
        When it cannot be written.
    """
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise BadInputError(write_error_line(folder, error)) from None
    text = emergency_to_json(answer)
    write_file(folder / EMERGENCY_JSON, lambda path: path.write_text(text, encoding="utf-8", newline="\n"))
    from netplan.outputs.emergency.emergency_page import emergency_page
    from netplan.outputs.emergency.network_in_view import NetworkInView

    view = NetworkInView(network)
    page = emergency_page(answer, view, figures)
    write_file(folder / EMERGENCY_PAGE, lambda path: path.write_text(page, encoding="utf-8", newline="\n"))
    return view
