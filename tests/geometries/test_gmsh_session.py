"""gmsh is one for the whole process: a person's own model survives a mesh of ours, and does not change it."""
import gmsh
import numpy as np
import pytest

from geometries import CrossSection, disc, solenoid
from geometries.air_mesh import number_air_last, remesh_air
from geometries.gmsh_session import gmsh_session
from geometries.mesher import mesh_section

SECTION = CrossSection([solenoid(turns=3, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3), disc(radius=15e-3, thickness=0.1e-3)])
THEIR_OPTIONS = {"Mesh.MeshSizeFactor": 0.3, "Mesh.ElementOrder": 2, "Mesh.Algorithm": 5, "Mesh.FirstNodeTag": 100, "General.Terminal": 1}


@pytest.fixture
def their_gmsh():
    """A gmsh that somebody uses, with a mesh, a view and options of their own."""
    gmsh.initialize(interruptible=False, readConfigFiles=False)
    gmsh.model.add("other")
    gmsh.model.add("theirs")
    gmsh.model.occ.addRectangle(0, 0, 0, 1, 1)
    gmsh.model.occ.synchronize()
    gmsh.model.mesh.generate(2)
    gmsh.view.add("their view")
    for option, value in THEIR_OPTIONS.items():
        gmsh.option.setNumber(option, value)
    yield gmsh
    gmsh.finalize()


def state():
    """What a person sees of gmsh."""
    return (gmsh.model.list(), gmsh.model.getCurrent(), gmsh.view.getTags().tolist(), gmsh.model.getEntities(),
            [array.tolist() for array in gmsh.model.mesh.getNodes()], {option: gmsh.option.getNumber(option) for option in THEIR_OPTIONS})


def test_a_model_that_is_open_survives_and_changes_no_mesh(request):
    alone = mesh_section(SECTION)
    renewed = remesh_air(*number_air_last(alone))
    assert not gmsh.isInitialized()
    request.getfixturevalue("their_gmsh")
    before = state()
    meshes = mesh_section(SECTION), remesh_air(*number_air_last(alone))
    assert state() == before
    for mesh, expected in zip(meshes, (alone, renewed), strict=True):
        assert np.array_equal(mesh.nodes, expected.nodes) and np.array_equal(mesh.triangles, expected.triangles)


def test_a_failure_leaves_it_as_it_was(their_gmsh):
    before = state()
    with pytest.raises(ZeroDivisionError), gmsh_session() as session:
        session.model.occ.addDisk(0, 0, 0, 1, 1)
        raise ZeroDivisionError
    assert state() == before
