"""Nothing in the package is written for nobody: a command or a public name reaches every function (own).

Read from the source alone, see `tests.support.reached`. Classes and constants that nothing uses count too.
"""

from __future__ import annotations

from pathlib import Path

import netplan
from netplan.cli.app import COMMANDS
from tests.support.reached import Package, unreached

ALLOWED = {
    "netplan.__getattr__": "Python calls it for every public name",
    "netplan.__dir__": "Python calls it to list the public names",
    "netplan.core.names_on_first_use.names_on_first_use": "makes the __getattr__ of packages",
    "netplan.readers.__getattr__": "Python calls it for what few sources need",
    "netplan._MODULE_OF": "read by netplan.__getattr__",
    "netplan.library.__getattr__": "Python calls it for every name of the library",
    "netplan.library._MODULE_OF": "read by netplan.library.__getattr__",
    "netplan.isolation.__getattr__": "Python calls it for every name of the choice of stops",
    "netplan.isolation._FROM": "read by netplan.isolation.__getattr__",
    "netplan.planfile.__getattr__": "Python calls it for every name of the solved state",
    "netplan.planfile._FROM": "read by netplan.planfile.__getattr__",
    "netplan.planfile.model.__getattr__": "Python calls it for every name of the plan",
    "netplan.planfile.model._FROM": "read by netplan.planfile.model.__getattr__",
    "netplan.cli.app.CommandGroup.format_commands": "typer calls it for the help",
    "netplan.cli.app.CommandGroup.list_commands": "typer calls it for the help",
}
PUBLIC = [name for name in netplan.__all__ if name != "__version__"]


def _package() -> Package:
    return Package(Path(netplan.__file__).parent)


def _roots() -> list[tuple[str, str]]:
    modules = netplan._MODULE_OF
    commands = ((module, "command") for module in COMMANDS.values())
    public = ((modules.get(name, "netplan.library"), name) for name in PUBLIC)
    return [("netplan.__main__", "main"), *commands, *public]


def test_a_command_or_a_public_name_reaches_every_function() -> None:
    package = _package()
    left = {unit.place for unit in unreached(package, _roots()) if unit.name != "__all__"}
    assert left == set(ALLOWED)
    assert sum(unit.is_function for unit in package.units()) > 2000


def test_what_nobody_calls_is_found(tmp_path: Path) -> None:
    """Each kind of reference counts, and only from code that is reached itself."""
    home = tmp_path / "small"
    home.mkdir()
    (home / "__init__.py").write_text("from small.doors import go\n")
    (home / "doors.py").write_text(
        "from small import tools\n"
        "from small.tools import Box, _TABLE as table\n"
        "def go():\n    return Box().open(), tools.by_module(), table\n"
        "def only_idle_calls_me():\n    pass\n"
        "def idle():\n    only_idle_calls_me()\n"
    )
    (home / "tools.py").write_text(
        "_TABLE = {'a': lambda: in_a_table()}\n"
        "def in_a_table(): pass\n"
        "def by_module(): return [inner() for _ in ()]\n"
        "def inner(): pass\n"
        "class Box:\n"
        "    def __len__(self): return special()\n"
        "    def open(self): return self.shut\n"
        "    @property\n"
        "    def shut(self): pass\n"
        "    def never(self): pass\n"
        "def special(): pass\n"
        "class Idle:\n"
        "    def open(self): pass\n"
    )
    left = [unit.place for unit in unreached(Package(home), [("small", "go")])]
    assert left == [
        "small.doors.only_idle_calls_me",
        "small.doors.idle",
        "small.tools.Box.never",
        "small.tools.Idle",
        "small.tools.Idle.open",
    ]
