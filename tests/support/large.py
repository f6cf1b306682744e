"""A scheme as large as asked, for speed: many strings of cells, each with its own probes, chargers and loads."""

from __future__ import annotations


def large_scheme(rules: int, paths: int) -> str:
    """A valid scheme of that many rules on that many paths (rules: a multiple of paths, 5 or more each)."""
    each = rules // paths
    assert each >= 5
    assert rules == each * paths
    strings = range(paths // 2)
    text = ["scheme: A large plant", "scan: 100 ms", "", "quantities:"]
    for i in strings:
        text.append(f"  coldest_{i}: {{span: -40 to 80 degC}}")
        text.append(f"  hottest_{i}: {{span: -40 to 80 degC, at_least: coldest_{i}, at_most: coldest_{i} + 4 K}}")
        text.append(f"  lowest_{i}: {{span: 1.5 to 4.2 V}}")
        text.append(f"  highest_{i}: {{span: 1.5 to 4.2 V, at_least: lowest_{i}}}")
    text += ["", "sensors:"]
    for i in strings:
        text.append(
            f"  probe_{i}: {{measures: {{coldest_{i}: -0.5 to 2 K, hottest_{i}: -4 to 0.5 K}}, valid: -45 to 90 degC}}"
        )
        text.append(f"  low_{i}: {{measures: {{lowest_{i}: -10 to 10 mV}}, valid: 1 to 4.5 V}}")
        text.append(f"  high_{i}: {{measures: {{highest_{i}: -10 to 10 mV}}, valid: 1 to 4.5 V}}")
    text += ["", "lines: {stop_button: external}", "", "rules:"]
    for i in strings:
        charge = [
            f"cold_{i}: {{watches: probe_{i}, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, ",
            f"warm_{i}: {{watches: probe_{i}, trips: above 40 degC for 2 s, clears: below 38 degC for 60 s, ",
            f"full_{i}: {{watches: high_{i}, trips: above 3.55 V for 1 s, clears: below 3.4 V for 30 s, ",
            f"stop_charge_{i}: {{watches: stop_button, trips: on, clears: off for 1 s, ",
        ]
        charge += [
            f"step_{i}_{k}: {{watches: high_{i}, trips: above {3500 + k} mV for {k + 1} s, clears: below 3 V for 9 s, "
            for k in range(each - len(charge))
        ]
        draw = [
            f"hot_{i}: {{watches: probe_{i}, trips: above 55 degC for 2 s, clears: below 45 degC for 5 min, ",
            f"empty_{i}: {{watches: low_{i}, trips: below 2.8 V for 3 s, clears: above 3.1 V for 60 s, ",
            f"stop_draw_{i}: {{watches: stop_button, trips: on, clears: off for 1 s, ",
        ]
        draw += [
            f"shed_{i}_{k}: {{watches: low_{i}, trips: below {2900 + k} mV for {k + 1} s, clears: above 3.2 V for 9 s, "
            for k in range(each - len(draw))
        ]
        text += [f"  {rule}blocks: charger_{i}}}" for rule in charge]
        text += [f"  {rule}blocks: load_{i}}}" for rule in draw]
    text += ["", "paths:"]
    for i in strings:
        text += [f"  charger_{i}: {{flow: charge}}", f"  load_{i}: {{flow: discharge}}"]
    text += ["", "outputs:"]
    for i in strings:
        for letter, path in (("C", "charger"), ("L", "load")):
            text.append(f"  {letter}{i}: {{drives: [{path}_{i}], contact: normally_open, runs_when: closed}}")
    text += ["", "requirements:"]
    for i in strings:
        for name, path, condition in (
            ("frozen", "charger", f"coldest_{i}: below 0 degC"),
            ("overfull", "charger", f"highest_{i}: above 3.65 V"),
            ("hot_charge", "charger", f"hottest_{i}: above 45 degC"),
            ("empty", "load", f"lowest_{i}: below 2.5 V"),
            ("hot", "load", f"hottest_{i}: above 60 degC"),
        ):
            text.append(f"  {name}_{i}: {{never_running: {path}_{i}, while: {{{condition}}}, longer_than: 10 s}}")
    return "\n".join(text) + "\n"
