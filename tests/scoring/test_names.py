from __future__ import annotations

from pathlib import Path

import scoring


def test_no_name_that_the_package_offers_is_also_a_module_of_it():
    """Importing such a module would put the module in the place of what it defines."""
    modules = {path.stem for path in Path(scoring.__file__).parent.glob("*.py")}
    assert not modules & set(scoring._HOMES)
