"""Networks for commands that look at every main: no pipe of them can be set aside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from netplan.cli.options import mapping_given
from netplan.core.errors import BadNetworkError

if TYPE_CHECKING:
    from netplan.network.model import Network

__all__ = ["whole_network"]


def whole_network(
    source: str,
    command: str,
    *,
    mapping: Path | None = None,
    within: Path | None = None,
    cache: Path | None = None,
) -> Network:
    """Read a network for a command that looks at every main.

    Parameters
    ----------
    source : str
        As given on the command line.
    command : str
        Name of the command, for the error.
    mapping, within : Path, optional
        File of the mapping, file with a polygon.
    cache : Path, optional
        As in `read_network`.

    Raises
    ------
    BadNetworkError
        When the layers break the input contract; where only sizes of single pipes do, the error says that a
        plan far from them goes on.
    """
    from netplan.core.findings import errors_of
    from netplan.network.unsized_pipes import may_be_set_aside
    from netplan.readers import read_network
    from netplan.readers.sources.areas import read_area

    meaning = mapping_given(mapping)
    window = None if within is None else read_area(within)
    try:
        return read_network(source, mapping=meaning, within=window, cache=cache)
    except BadNetworkError as error:
        errors = errors_of(error.findings)
        if not errors or not all(map(may_be_set_aside, errors)):
            raise
        raise BadNetworkError(
            f"{error}; {command} looks at every main, so none can be set aside; "
            "plans far from it are still made",
            error.findings,
        ) from None
