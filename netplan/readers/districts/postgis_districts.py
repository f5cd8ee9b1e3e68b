"""Districts of a PostGIS schema: the rows of its tables by the value of one column."""

from __future__ import annotations

from netplan.core.errors import BadInputError
from netplan.network.contract import layer_specs
from netplan.readers.sources.layer_source import LayerSource
from netplan.readers.sources.postgis import PostgisSource

__all__ = ["PostgisDistricts"]


class PostgisDistricts:
    """The districts of a schema.

    Parameters
    ----------
    url : str
        As for `PostgisSource`.
    column : str
        Column that names the district, in every table that is a layer.

    Raises
    ------
    BadInputError
        When a layer lacks the column, or a row has no district.
    """

    def __init__(self, url: str, column: str) -> None:
        self._source, self._column = PostgisSource(url), column
        layers = [name for name in self._source.layer_names() if name.casefold() in layer_specs()]
        self._districts = self._source.districts(column, layers)
        if not self._districts:
            raise BadInputError(f"{self.name}: no row names a district in column {column}; correct its name")

    @property
    def name(self) -> str:
        """Host, database and schema, without user and password."""
        return self._source.name

    def districts(self) -> tuple[str, ...]:
        """Return the values of the column, sorted."""
        return self._districts

    def layers_of(self, district: str) -> LayerSource:
        """Return the source of the rows of one district."""
        if district not in self._districts:
            raise BadInputError(f"{self.name}: holds no district {district}; put it back, or index again")
        return self._source.of_district(self._column, district)

    def quick_key(self, district: str) -> str:
        """Return what `content_of` returns: a database does not tell when a row was written."""
        source = self._source.of_district(self._column, district)
        return source.content_key(None, set(layer_specs()))
