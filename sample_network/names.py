"""Street names, invented: no street of a real town is meant."""

from __future__ import annotations

from typing import Final

__all__ = ["CLOSE_NAMES", "ESTATE_NAMES", "HILL_NAMES", "LOCAL_NAMES"]

LOCAL_NAMES: Final = (
    "Tanner Street", "Corkcutter Row", "Chandler Street", "Lantern Street", "Bellhouse Street", "Wicker Lane",
    "Saddler Street", "Glebe Road", "Pound Lane", "Mercer Street", "Orchard Road", "Malthouse Lane",
    "Priory Walk", "Almond Street", "Thatcher Road", "Quarry Lane", "Larkfield Road",
    "Heron Way", "Sluice Road", "Osier Lane", "Meadowsweet Road", "Teasel Avenue",
    "Plover Road", "Lapwing Avenue", "Sedge Road", "Kingcup Way", "Halfpenny Lane", "Cobbler Street",
    "Netmender Road", "Spindle Street", "Carder Street", "Fuller Street", "Ropery Street",
    "Hornbeam Avenue", "Juniper Road", "Harebell Road", "Cowslip Lane", "Fallow Road",
    "Barley Road", "Oatfield Lane", "Skylark Road", "Swift Street", "Wren Street",
    "Martin Street", "Starling Road", "Dovecote Lane", "Pinfold Street", "Staithe Road", "Withy Road",
    "Alder Road", "Dyer Street", "Weaver Row",
    "Bobbin Street", "Thimble Lane", "Needle Row", "Candle Street", "Tallow Lane", "Acorn Road",
)  # fmt: skip
CLOSE_NAMES: Final = tuple(
    f"{word} {kind}"
    for word, kind in zip(
        ("Pippin", "Russet", "Quince", "Medlar", "Damson", "Bramble", "Hazel", "Clover", "Sorrel", "Yarrow",
         "Bluebell", "Foxglove", "Campion", "Primrose", "Violet", "Poppy", "Thistle", "Willow",
         "Sallow", "Aspen",
         "Chestnut", "Walnut", "Cherry", "Sparrow", "Finch", "Linnet", "Siskin", "Dunnock",
         "Curlew", "Snipe",
         "Teal", "Mallard", "Kestrel", "Merlin", "Harrier", "Osprey", "Badger", "Hedgehog",
         "Leveret", "Dormouse",
         "Vole", "Otter", "Mayfly", "Dragonfly", "Minnow", "Stickleback", "Bulrush", "Watercress",
         "Mint", "Tansy",
         "Lovage", "Borage", "Fennel", "Saffron"),
        ("Close", "Court", "Close", "Mews", "Close", "Gardens", "Close", "Place", "Close") * 6,
        strict=True,
    )
)  # fmt: skip
ESTATE_NAMES: Final = (
    "Anvil Way", "Crucible Road", "Bellows Road", "Tongs Lane", "Rivet Way", "Hammer Close",
    "Furnace Lane", "Ladle Street", "Bloom Street", "Slag Lane", "Castings Way",
)  # fmt: skip
HILL_NAMES: Final = (
    "Beeskep Hill", "Upper Beeskep Road", "Linden Rise", "Rowan Rise", "Windmill Rise", "Bracken Rise",
    "Heather Road", "Gorse Road", "Skyline Road", "Larches Hill",
)  # fmt: skip
