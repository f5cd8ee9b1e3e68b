"""Planning help for stopping a low-pressure polyethylene gas main.

The package answers, before anybody digs: where to stop the main on every side of a work section, who
loses gas, what bypass keeps the others on, how much gas is vented and in which order. It gives planning
figures; it is no permit and no substitute for the operator's rules, local codes and competent people.
"""

__version__ = "0.1.0"
