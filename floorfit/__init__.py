"""Z offsets for pocket floors, from ultrasonic web readings of a plate that no longer lies flat.

Every command is one call here, by the same name: ``correct(part, readings)`` returns a frozen `Result`.
What is public stands in ``__init__.pyi``, once; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)

del lazy_loader
