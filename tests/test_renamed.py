"""Names of version 0.1 say what they are called now; static tools see the names of today."""
import ast
import importlib
from pathlib import Path

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve import renamed
from fieldsolve.errors import AccuracyWarning, FieldError, RenamedError

PACKAGE = Path(fs.__file__).parent
SECTION = geo.CrossSection([geo.solenoid(turns=4, bore_radius=1e-2, wire_diameter=2e-3, pitch=2.4e-3, material=fs.material("copper"))])
HOMES = {                                # of the classes whose attributes changed
    "Card": "fieldsolve.rig.card", "Rig": "fieldsolve.rig.rig", "ShotQuantities": "fieldsolve.rig.from_shot",
    "MovingShotQuantities": "fieldsolve.rig.from_shot", "Material": "fieldsolve.materials", "Thermal": "fieldsolve.materials",
    "Frohlich": "fieldsolve.materials", "Former": "fieldsolve.motion.hoops.former", "PrescribedMotion": "fieldsolve.motion.rigid",
    "Shot": "fieldsolve.shot.result.shot", "EnergyBalance": "fieldsolve.shot.result.energy_balance",
    "Departure": "fieldsolve.shot.result.kinematics", "ShotField": "fieldsolve.field.transient.field",
    "Transient": "fieldsolve.field.transient.solve",
}


@pytest.mark.parametrize(("old", "new"), renamed.NAMES.items())
def test_an_old_name_says_the_new_one(old, new):
    assert hasattr(fs, new) and not hasattr(fs, old)
    with pytest.raises(RenamedError, match=f"^fs.{old} is called fs.{new} since 0.2$") as caught:
        getattr(fs, old)
    assert isinstance(caught.value, FieldError) and isinstance(caught.value, AttributeError) and isinstance(caught.value, TypeError)


@pytest.mark.parametrize(("name", "old", "new"), [(name, *pair) for name, pairs in renamed.KEYWORDS.items() for pair in pairs.items()])
def test_an_old_keyword_says_the_new_one(name, old, new):
    with pytest.raises(RenamedError, match=f"^{old}= of fs.{name} is called {new}= since 0.2$"):
        getattr(fs, name)(**{old: None})


@pytest.mark.parametrize(("name", "old", "new"), [(name, *pair) for name, pairs in renamed.ATTRIBUTES.items() for pair in pairs.items()])
def test_an_old_attribute_says_the_new_one(name, old, new):
    owner = getattr(importlib.import_module(HOMES[name]), name)
    empty = owner.__new__(owner)
    assert hasattr(owner, new) or new in owner.__dataclass_fields__
    with pytest.raises(RenamedError, match=rf"^{name}\.{old} is called {name}\.{new} since 0.2$"):
        getattr(empty, old)
    with pytest.raises(AttributeError, match="has no attribute 'no_such_name'"):
        empty.no_such_name          # noqa: B018


@pytest.mark.parametrize("solve", [lambda **options: fs.solve_static(SECTION, {"coil": 1.0}, **options),
                                   lambda **options: fs.solve_harmonic(SECTION, 1e3, {"coil": 1.0}, **options)])
def test_a_warning_still_points_at_the_caller(solve):
    with pytest.warns(AccuracyWarning) as caught:
        solve(accuracy=1e-7, max_unknowns=3000)
    assert caught[0].filename == __file__


def test_static_tools_see_every_name():
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    seen = next(node for node in tree.body if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING")
    homes = {alias.asname: node.module for node in seen.body for alias in node.names if node.module != "fieldsolve"}
    assert homes == fs._HOMES
    assert (PACKAGE / "py.typed").exists() and (PACKAGE.parent / "geometries" / "py.typed").exists()
