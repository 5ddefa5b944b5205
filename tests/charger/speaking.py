"""A charger as a program that speaks the line protocol: the reference, right or with one mistake.

Run as `python speaking.py MISTAKE`; without a mistake it does everything right.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from ctrl.charger import Charger, ChargerSample, ChargerSettings, Message

NAN = float("nan")
WIDTH = 6


def number(value: float | None) -> float:
    return NAN if value is None else value


def row_of(charger: Charger, row: list[Any]) -> list[Any]:
    t, own_v, own_a, *said = row
    messages = []
    for first in range(0, len(said), WIDTH):
        request_v, request_a, pack_v, pack_a, _stage, age_s = said[first : first + WIDTH]
        messages.append(
            Message(
                number(request_v),
                number(request_a),
                number(pack_v),
                number(pack_a),
                number(age_s),
            )
        )
    sample = ChargerSample(number(t), number(own_v), number(own_a), tuple(messages))
    output = charger.step(sample)
    return [output.state.word, output.set_point_v, output.limit_a]


def main(mistake: str) -> None:
    charger: Charger | None = None
    ran = 0
    for line in sys.stdin:
        message = json.loads(line)
        do, answer = message["do"], {"seq": message["seq"]}
        if do == "stop":
            return
        if do == "hello":
            answer |= {"protocol": 1, "name": "speaking", "version": "1", "language": "Python"}
            answer |= {"role": "controller" if mistake == "role" else message.get("role")}
        elif do == "start" and mistake == "refuses":
            answer |= {"error": "no charger today"}
        elif do == "start":
            values = message["settings"]
            values["plausible_v"] = tuple(values["plausible_v"])
            fresh = ChargerSettings.from_mapping(values)
            if charger is None or mistake != "stale-start":
                charger = Charger(fresh)
            charger.settings = fresh
            answer |= {"ok": True}
        elif do == "power_cycle":
            assert charger is not None
            charger.power_cycle()
            answer |= {"ok": True}
        else:
            assert charger is not None
            ran += 1
            if mistake == "dies" and ran == 2:
                sys.exit("out of magic")
            if mistake == "cuts":
                charger.power_cycle()
            rows = [row_of(charger, row) for row in message["rows"]]
            columns = ["state", "set_point_v", "limit_a"]
            if mistake == "word":
                rows[3][0] = "sleeping"
            if mistake == "nothing":
                rows[3][1] = None
            if mistake == "no-limit":
                rows, columns = [row[:2] for row in rows], columns[:2]
            answer |= {"columns": columns, "rows": rows}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "")
