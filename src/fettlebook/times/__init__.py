"""How long each step runs on each chair: max(rule's floor, label or IFU, what the line needs).

Concern: seconds and their reasons. In: a practice and a rulebook. Out: running times with which of the three set them
and the derivation in words. Never shortens a label or a rule.
"""
