"""Wrong inputs at the shell: each gives one line, the right exit code and no traceback, before anything is solved."""
import pytest

from fieldsolve.cli.main import main

COIL = '[coil]\nshape = "solenoid"\nturns = 4\nbore_radius = "15.6 mm"\nwire_diameter = "3 mm"\npitch = "3.3 mm"\nmaterial = "copper"\n'
DISC = '[disc]\nshape = "disc"\nradius = "15 mm"\nthickness = "2 mm"\nmaterial = "aluminium 1100-O"\n'
BANK = '[bank]\ncapacitance = "120 uF"\nvoltage = "4 kV"\nresistance = "6 mohm"\ninductance = "350 nH"\n'
RUN = '[run]\nend_time = "20 us"\naccuracy = 3e-2\n'
ALL = COIL + DISC + BANK + RUN


def changed(old, new, text=ALL):
    assert old in text, old
    return text.replace(old, new, 1)


CASES = {
"nest 2000":("shot",ALL+"[x]\na = "+"["*2000+"]"*2000),
"int 5000":("shot",changed("turns = 4","turns = "+"9"*5000)),
"int 400":("shot",changed("turns = 4","turns = "+"9"*400)),
"1 nm wire":("shot",changed('"3 mm"','"1 nm"')),
"C tiny":("shot",changed('"120 uF"','5e-324')),
"V 1e300":("shot",changed('"4 kV"','1e300')),
"I 1e308":("field",COIL+"current = 1e308\n"),
"unit power":("shot",changed('"15 mm"','"1 m^9^9^9"')),
"unit paren":("shot",changed('"15 mm"','"1 (m^9)^99999999"')),
"unit spaces":("shot",changed('"15 mm"','"1'+" "*2000+'m"')),
"1500 turns":("shot",changed("turns = 4","turns = 1500")),
"2000 discs":("field",COIL+"".join(DISC.replace("[disc]",f"[d{k}]")+f"at = {0.05+k*0.0025}\n" for k in range(2000))),
"newline name":("field",'["coil\\nVerdict: within"]\n'+COIL[7:]),
"esc name":("field",'["coil\\u001b[2J"]\n'+COIL[7:]),
"10MB value":("field",changed('"copper"','"'+"x"*900000+'"',COIL)),
"11MB file":("field",COIL+"#"+"x"*11000000),
"remanence":("field",COIL+'[m]\nshape="cylinder"\nradius="5 mm"\nlength="5 mm"\nconductivity=1e6\nremanence=1e300\n'),
"permeability":("field",COIL+'[m]\nshape="cylinder"\nradius="5 mm"\nlength="5 mm"\nconductivity=1e6\nrelative_permeability=1e300\n'),
"conductivity":("field",COIL+'[m]\nshape="cylinder"\nradius="5 mm"\nlength="5 mm"\nconductivity=1e300\n',"--frequency","1 kHz"),
"100 F":("shot",changed('"120 uF"','"100 F"')),
"40 s":("shot",changed('"20 us"','"40 s"')),
"touch":("shot",changed('radius = "15 mm"\nthickness = "2 mm"','radius = "15.6 mm"\nthickness = "6 mm"')),
"unquoted":("field",changed('"15.6 mm"','15.6 mm',COIL)),
"empty":("field",""),
"binary":("field",b"\xff\xfe\x00\x01"),
"zeros":("field",b"\x00"*100),
"dir":("field",None,),
"acc 0.9":("field",COIL,"--accuracy","0.9"),
"acc nan":("field",COIL,"--accuracy","nan"),
"acc neg":("field",COIL,"--accuracy","-1"),
"freq 1e300":("field",COIL,"--frequency","1e300 Hz"),
"freq neg":("field",COIL,"--frequency","-1 kHz"),
"cur nan":("field",COIL,"--current","nan"),
"cur 1e300":("field",COIL,"--current","1e300"),
"set bad":("field",COIL,"--set","coil"),
"set unknown":("field",COIL,"--set","coil.pich=3 mm"),
"set table":("field",COIL,"--set","bnk.voltage=3"),
"set value":("field",COIL,"--set",'coil.turns="many"'),
"frames":("shot",ALL,"--frames","1e300 MHz"),
"measured none":("shot",ALL,"--measured","nothing.csv"),
"json dir":("shot",ALL,"--json","."),
"no bank":("shot",COIL+DISC+RUN),
"no end":("shot",COIL+DISC+BANK),
"applied":("shot",ALL+"[field]\napplied_field = 1\n"),
"bool turns":("shot",changed("turns = 4","turns = true")),
"list turns":("shot",changed("turns = 4","turns = [1,2]")),
"date turns":("shot",changed("turns = 4","turns = 2020-01-01")),
"inf radius":("shot",changed('"15 mm"',"inf")),
"nan radius":("shot",changed('"15 mm"',"nan")),
"overlap":("shot",changed('"15 mm"','"17 mm"')),
"shape list":("field",changed('"solenoid"','["a"]',COIL)),
"shape int":("field",changed('"solenoid"','5',COIL)),
"material int":("field",changed('"copper"','7',COIL)),
"material table":("field",changed('"copper"','{material={material="copper"}}',COIL)),
"material list":("field",changed('"copper"','["copper"]',COIL)),
"limits":("rig",ALL+"[limits]\nreversal = 5\n"),
"limits x":("rig",ALL+"[limits]\nx = [1]\n"),
"site":("rig",ALL+"[site]\naltitude = 1e9\n"),
"hearing":("rig",ALL+"[site]\nhearing_protection = [1]\n"),
"tested":("rig",ALL+'[bleeder]\ntested = "yesterday"\n'),
"box":("rig",ALL+"[box]\nmaterial = {a=1}\n"),
"rated":("shot",ALL.replace('[bank]\n','[bank]\nrated_voltage = "1 kV"\n')),
"crowbar":("shot",ALL+'[crowbar]\nacross = []\nresistance = 1e-3\n'),
"layers":("field",COIL+'[c]\nshape="clad_disc"\nradius="10 mm"\nlayers=[["1 mm"]]\n'),
"layers2":("field",COIL+'[c]\nshape="clad_disc"\nradius="10 mm"\nlayers={a=1}\n'),
"wire section":("field",changed('wire_diameter = "3 mm"','wire_section = ["3 mm","x"]',COIL)),
"mat file":("field",changed('"copper"','"/dev/zero.toml"',COIL)),
"thin":("field",changed('"2 mm"','"0.2 um"',COIL+DISC)),
"closed":("field",COIL[:-10]),
}


@pytest.mark.parametrize("name", CASES)
def test_a_wrong_input_is_one_line_and_an_exit_code(name, tmp_path, capsys, monkeypatch):
    command, text, *options = CASES[name]
    path = tmp_path / "rig.toml"
    if text is None:
        path.mkdir()
    else:
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
    monkeypatch.chdir(tmp_path)
    assert main([command, "rig.toml", *options]) == (1 if name == "thin" else 2)
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert err.startswith("fieldsolve: ") and len(err) < 2200 and err.rstrip("\n").isprintable()
