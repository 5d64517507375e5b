"""Runs that cost little: a static field of one ring, a held shot of some microseconds."""
RING = {"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper", "current": "1 kA"},
        "field": {"accuracy": 5e-2}}
SHOT = {"coil": {"shape": "solenoid", "turns": 3, "bore_radius": "15.6 mm", "wire_diameter": "3 mm", "pitch": "3.3 mm",
                 "material": "copper"},
        "bank": {"capacitance": "120 uF", "voltage": "1 kV", "inductance": "300 nH"},
        "run": {"end_time": "3 us", "motion": False, "heating": False, "accuracy": 1e-1}}


def without_time(table) -> list[dict]:
    """Rows of a sweep without the seconds that each took."""
    return [{name: value for name, value in row.items() if name != "seconds"} for row in table.rows]
