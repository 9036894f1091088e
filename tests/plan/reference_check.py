#!/usr/bin/env python3
# ruff: noqa: B023, B905, RUF007, SIM115 - kept as it was first written, so that it stays independent of the code it checks
"""Checks a day plan against a day instance (schema 1: docs/assistant/day-plan.md). Standard library only, nothing of fettlebook."""

import json
import sys
from collections import defaultdict


def check(inst, plan):
    bad = []
    say = bad.append
    visits = {v["id"]: v for v in inst["visits"]}
    chairs = {c["id"]: c for c in inst["chairs"]}
    people = {p["id"]: p for p in inst["people"]}
    machines = {m["id"]: (k, m) for k in ("washers", "sterilizers") for m in inst[k]}
    rep = inst["reprocess"]
    got = {v["id"]: v for v in plan["visits"]}
    left_out = plan.get("left_out", [])
    if set(left_out) & set(got) or set(left_out) - set(visits) or len(set(left_out)) != len(left_out):
        return ["left_out names a planned, an unknown or a repeated visit"], {}
    lost = sum(visits[i]["weight"] for i in left_out)
    visits = {i: v for i, v in visits.items() if i not in set(left_out)}
    if set(got) != set(visits) or len(plan["visits"]) != len(visits):
        return [f"visits planned {len(got)} of {len(visits)}"], {}
    work = defaultdict(list)  # person -> (from, to, what)

    def attend(person, start, minutes, what):
        if person not in people:
            return say(f"{what}: nobody called {person!r}")
        p = people[person]
        if start < p["from"] or start + minutes > p["to"]:
            say(f"{what}: outside the shift of {person}")
        if any(start < b and start + minutes > a for a, b in p["breaks"]):
            say(f"{what}: in a break of {person}")
        work[person].append((start, start + minutes, what))

    steps = {}
    for s in plan["steps"]:
        key = (s["chair"], s["procedure"], s["after"], s["index"])
        if key in steps:
            say(f"step twice: {key}")
        steps[key] = s
    dirty_at, end_of_day, used_keys = {}, 0, set()
    for cid, chair in chairs.items():
        own = sorted((v for v in visits.values() if v["chair"] == cid), key=lambda v: v["booked"])
        if not own:
            continue
        free = inst["day_start"]

        def run(procedure, after, free):
            first_end = None
            for i, step in enumerate(chair[procedure]):
                key = (cid, procedure, after, i)
                used_keys.add(key)
                s = steps.get(key)
                if s is None:
                    say(f"missing step {key}")
                    return free, first_end
                if s["start"] < free:
                    say(f"{key} starts at {s['start']}, chair free at {free}")
                free = s["start"] + step["minutes"]
                if step["attended"]:
                    attend(s["person"], s["start"], step["minutes"], str(key))
                elif s["person"] is not None:
                    say(f"{key}: unattended step has a person")
                if i == 0:
                    first_end = free
            return free, first_end

        free, _ = run("opening", None, free)
        for n, v in enumerate(own):
            start = got[v["id"]]["start"]
            if start < v["booked"]:
                say(f"visit {v['id']} before it is booked")
            if start > v.get("latest", start):
                say(f"visit {v['id']} at {start}, must start by {v['latest']}")
            if start < free:
                say(f"visit {v['id']} at {start}, chair ready at {free}")
            last = n == len(own) - 1
            free, cleared = run("closing" if last else "turnover", v["id"], start + v["minutes"])
            dirty_at[v["id"]] = cleared
        end_of_day = max(end_of_day, free)
    for key in set(steps) - used_keys:
        say(f"unknown step {key}")

    events = defaultdict(list)  # unit -> (time it begins, kind, time it ends)
    for v in visits.values():
        need = {t: n for t, n in v["uses"].items() if n}
        have = defaultdict(int)
        units = got[v["id"]]["units"]
        if len(set(units)) != len(units):
            say(f"visit {v['id']}: a unit twice")
        for u in units:
            have[u.rsplit("#", 1)[0]] += 1
            events[u].append((got[v["id"]]["start"], "use", dirty_at.get(v["id"])))
        if dict(have) != need:
            say(f"visit {v['id']} uses {dict(have)}, needs {need}")
    owned = {f"{t['id']}#{k}" for t in inst["set_types"] for k in range(1, t["owned"] + 1)}
    busy = defaultdict(list)
    for b in plan["batches"]:
        if b["machine"] not in machines:
            say(f"no machine {b['machine']!r}")
            continue
        kind, m = machines[b["machine"]]
        what = f"batch on {b['machine']} at {b['start']}"
        if not 1 <= len(b["units"]) <= m["capacity"]:
            say(f"{what}: {len(b['units'])} units, capacity {m['capacity']}")
        if b["load_start"] + rep["load_minutes"] != b["start"]:
            say(f"{what}: loading must end when it starts")
        if b["start"] < m["not_before"]:
            say(f"{what}: machine may not run before {m['not_before']}")
        if b["unload_start"] < b["start"] + m["minutes"]:
            say(f"{what}: unloaded before its end")
        attend(b["load_person"], b["load_start"], rep["load_minutes"], what + " load")
        attend(b["unload_person"], b["unload_start"], rep["unload_minutes"], what + " unload")
        out = b["unload_start"] + rep["unload_minutes"]
        busy[b["machine"]].append((b["load_start"], out, what))
        for u in b["units"]:
            if kind == "washers":
                events[u].append((b["load_start"], "wash", out))
            else:
                events[u].append((b["load_start"], "sterilize", out + rep["cool_minutes"]))
    for p in plan["packs"]:
        attend(p["person"], p["start"], rep["pack_minutes"], f"pack {p['unit']}")
        events[p["unit"]].append((p["start"], "pack", p["start"] + rep["pack_minutes"]))
    after = {"use": "wash", "wash": "pack", "pack": "sterilize", "sterilize": "use"}
    for u, ev in events.items():
        if u not in owned:
            say(f"unit {u} is not owned")
        expect, free = "use", inst["day_start"]
        for begin, kind, end in sorted(ev, key=lambda e: e[0]):
            if kind != expect:
                say(f"unit {u}: {kind} at {begin}, expected {expect}")
                break
            if begin < free or end is None:
                say(f"unit {u}: {kind} at {begin}, ready at {free}")
                break
            expect, free = after[kind], end
    for who, jobs in list(work.items()) + list(busy.items()):
        jobs.sort()
        for a, b in zip(jobs, jobs[1:]):
            if b[0] < a[1]:
                say(f"{who}: {a[2]} and {b[2]} overlap")
    if "now" in inst:  # replanning: what was done stays, nothing new starts in the past
        now, done = inst["now"], inst["done"]
        for part, field in (("visits", "start"), ("steps", "start"), ("packs", "start")):
            old = [json.dumps(x, sort_keys=True) for x in done[part]]
            new = [json.dumps(x, sort_keys=True) for x in plan[part]]
            for x in old:
                if x not in new:
                    say(f"{part}: what was done is missing or changed: {x}")
            for x, text in zip(plan[part], new):
                if text not in old and x[field] < now:
                    say(f"{part}: starts before now ({now}): {text}")
        keys = ("machine", "units", "load_start", "load_person", "start")
        for b in done["batches"]:
            same = [x for x in plan["batches"] if all(x[k] == b[k] for k in keys)]
            if not same or ("unload_start" in b and b not in same):
                say(f"batches: what was done is missing or changed: {b}")
            elif "unload_start" not in b and same[0]["unload_start"] < now:
                say(f"batches: unloaded before now ({now}): {same[0]}")
        for b in plan["batches"]:
            if b["load_start"] < now and not any(all(b[k] == d[k] for k in keys) for d in done["batches"]):
                say(f"batches: loaded before now ({now}): {b}")
    load = [sum(b - a for a, b, _ in work.get(p, [])) for p in people]
    late = {v["id"]: got[v["id"]]["start"] - v["booked"] for v in visits.values()}
    if end_of_day > inst["day_end"]:
        say(f"day ends at {end_of_day}, allowed {inst['day_end']}")
    return bad, {
        "weight_left_out": lost,
        "weighted_minutes_late": sum(visits[i]["weight"] * m for i, m in late.items()),
        "visits_late": sum(m > 0 for m in late.values()),
        "end_of_day": end_of_day,
        "attended_minutes": load,
    }


if __name__ == "__main__":
    inst, plan = (json.load(open(f, encoding="utf-8")) for f in sys.argv[1:3])
    try:
        problems, figures = check(inst, plan)
    except (KeyError, TypeError) as e:
        problems, figures = [f"the plan lacks or mistypes {e}"], {}
    for line in problems[:20]:
        print("broken:", line)
    print(json.dumps(figures))
    sys.exit(1 if problems else 0)
