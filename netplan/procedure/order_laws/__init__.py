"""Laws of the order of the work, checked on what the steps of an option need, change, test and read.

breaches = law_breaches(option, conditions, rules)   # one for each law broken and where; empty: lawful
[law.sentence for law in ORDER_LAWS]                 # the laws in words
"""

from netplan.procedure.order_laws.law_breach import LawBreach
from netplan.procedure.order_laws.law_table import ORDER_LAWS, OrderLaw, law_breaches

__all__ = ["ORDER_LAWS", "LawBreach", "OrderLaw", "law_breaches"]
