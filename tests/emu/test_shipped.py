"""What comes with the package is found in a checkout and in an installed package."""

import shutil

import pytest

import emu.shipped
from emu.errors import InputError
from emu.shipped import find_program, machine_names, program_names, programs_folder


def test_machines_are_found():
    assert machine_names() == ("dunlin", "fulmar", "sandpiper")


@pytest.mark.parametrize("machine", ["dunlin", "fulmar"])
def test_programs_are_found_by_name(machine):
    names = program_names(machine)
    assert len(names) > 3
    for name in names:
        assert find_program(machine, name).is_file()


@pytest.mark.parametrize("machine", ["", "..", "fulmar/parts", "no-such", "a.b"])
def test_other_machines_have_none(machine):
    assert program_names(machine) == ()


def test_a_path_is_a_path_and_anything_else_is_refused(tmp_path, monkeypatch):
    assert str(find_program("fulmar", "x/y")) == "x/y"
    assert str(find_program("fulmar", "gates.asm")) == "gates.asm"
    with pytest.raises(InputError, match="did you mean 'gates'"):
        find_program("fulmar", "gatez")
    with pytest.raises(InputError, match="give a path"):
        find_program("mine", "gates")
    (tmp_path / "plainname").write_text("")
    (tmp_path / "gatez.asm").write_text("")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=r"the file gatez\.asm is here: write gatez\.asm"):
        find_program("fulmar", "gatez")
    assert str(find_program("fulmar", "plainname")) == "plainname"


def test_an_installed_package_has_its_programs_inside(tmp_path, monkeypatch):
    shutil.copytree(programs_folder(), tmp_path / "_programs")
    monkeypatch.setattr(emu.shipped, "_HERE", tmp_path)
    assert programs_folder() == tmp_path / "_programs"
    assert "gates" in program_names("fulmar")
