"""What roomlink moves and senses: one folder a protocol, ``wire`` pure and ``link`` thin.

Third parties add a driver through the entry-point group ``roomlink.drivers``; see ``port.py`` for the rules.
"""
