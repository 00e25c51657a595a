"""A distiller that never was: whole batch logs of a careful person, and known mistakes in them.

Nothing here is shared with the checks that are scored by it: the physics is written anew from the published
relations, the person's habits from the trade.
"""
