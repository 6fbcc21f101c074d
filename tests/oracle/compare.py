"""Asks a general-purpose Bayesian-network library what the engine is asked, and compares every posterior.

    python3 tests/oracle/compare.py             compare; exit 1 if anything differs by more than 1e-9
    python3 tests/oracle/compare.py --record    compare, then write what the library said to recorded.json

It compares the shipped knowledge of every machine without a case and with case files, and 200 random networks of up
to 40 causes and 60 findings. The library is installed into a virtual environment under target/. Where no package index can
be reached, what was recorded earlier is held against the engine instead.
"""

import itertools
import json
import math
import os
import subprocess
import sys
import time
from pathlib import Path

LIBRARY = ("pyAgrum", "3.3.1")
TOLERANCE = 1e-9
ROOT = Path(__file__).resolve().parents[2]
RECORDED = ROOT / "tests/oracle/recorded.json"
UNREACHABLE = ["ConnectionError", "NewConnectionError", "Temporary failure", "timed out", "ProxyError", "Name or service"]


def main():
    work = target() / "oracle"
    python = install(work / "venv")
    if python is None:
        print("compare.py: no package index can be reached, so the library cannot be asked.", file=sys.stderr)
        print("compare.py: what it said before is held against the engine instead.", file=sys.stderr)
        sys.exit(cargo("test", "--locked", "--quiet", "--test", "suite", "outside_oracle", check=False).returncode)
    if Path(sys.prefix).resolve() != (work / "venv").resolve():
        sys.exit(subprocess.run([python, __file__, *sys.argv[1:]]).returncode)
    compare_all(work)


def cargo(*args, check=True, **more):
    return subprocess.run(["cargo", *args], cwd=ROOT, check=check, **more)


def target():
    found = cargo("metadata", "--locked", "--no-deps", "--format-version", "1", capture_output=True, text=True)
    return Path(json.loads(found.stdout)["target_directory"])


def install(venv):
    """The python of a virtual environment that has the library, or None where no package index can be reached."""
    python = venv / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    name, version = LIBRARY
    asked = f"from importlib.metadata import version; assert version('{name}') == '{version}'"
    if python.exists() and subprocess.run([python, "-c", asked], capture_output=True).returncode == 0:
        return python
    subprocess.run([sys.executable, "-m", "venv", venv], check=True)
    pip = [python, "-m", "pip", "install", "--quiet", "--only-binary", ":all:", f"{name}=={version}"]
    done = subprocess.run(pip, capture_output=True, text=True)
    if done.returncode == 0:
        return python
    if any(sign in done.stderr for sign in UNREACHABLE):
        return None
    sys.exit(f"compare.py: {name} {version} could not be installed:\n{done.stderr}")


def compare_all(work):
    networks = work / "networks"
    networks.mkdir(parents=True, exist_ok=True)
    for old in networks.iterdir():
        old.unlink()
    print("writing the networks ...", flush=True)
    write(networks)
    worst, said = {"shipped": 0.0, "random": 0.0}, []
    began = time.time()
    for path in sorted(networks.glob("*.json")):
        engine = json.loads(path.read_text(encoding="utf-8"))
        answer = ask(path.with_suffix(".bifxml"), engine)
        kind = "random" if path.stem.isdigit() else "shipped"
        difference, where = differ(engine, answer)
        worst[kind] = max(worst[kind], difference)
        said.append((path.stem, engine, answer))
        if difference > TOLERANCE:
            print(f"{path.stem}: {where} differs by {difference:.3g}", file=sys.stderr)
    print(f"{len(said)} networks in {time.time() - began:.0f} s with {' '.join(LIBRARY)}")
    print(f"largest difference: shipped knowledge {worst['shipped']:.2g}, random networks {worst['random']:.2g}")
    if max(worst.values()) > TOLERANCE:
        sys.exit(1)
    if "--record" in sys.argv:
        record(said)


def write(networks):
    test = ["--exact", "outside_oracle::networks_are_written_for_the_outside_library", "--ignored"]
    there = {**os.environ, "HANDLAMP_ORACLE_NETWORKS": str(networks)}
    cargo("test", "--locked", "--quiet", "--test", "suite", "--", *test, env=there, stdout=subprocess.DEVNULL)


def ask(path, engine):
    """What the library says of one network: posteriors, the chance of the evidence, and of no cause of the book."""
    import pyagrum

    net = pyagrum.loadBN(str(path))
    variables = {v["id"]: v for v in engine["variables"]}
    parts = terms(variables, engine["observed"])
    findings = [v for v in engine["posterior"] if variables[v]["kind"] == "finding"]
    roots = [v for v in engine["posterior"] if v not in findings]
    whole, posterior = believed(pyagrum, net, variables, parts, roots)
    if len(parts) == 1:
        # One by one: a finding that nobody asks about is no burden.
        asked = pyagrum.LazyPropagation(net)
        asked.setEvidence(engine["observed"])
        for finding in findings:
            asked.setTargets({finding})
            asked.makeInference()
            posterior[finding] = [float(p) for p in asked.posterior(finding).toarray()]
    book = [v["id"] for v in engine["variables"] if v["kind"] == "cause" and v["name"] != "not-in-the-book"]
    absent = {cause: "absent" for cause in book}
    none = believed(pyagrum, net, variables, [(weight, {**seen, **absent}) for weight, seen in parts], [])[0]
    return {"posterior": posterior, "ln_observed": math.log(whole), "nothing_known": none / whole}


def believed(pyagrum, net, variables, parts, targets):
    """P(observed) and the posteriors, summed over weighted parts of the evidence."""
    whole, sums = 0.0, {target: [0.0] * len(variables[target]["states"]) for target in targets}
    for weight, observed in parts:
        seen = forced(variables, observed)
        if seen is None:
            continue
        asked = pyagrum.LazyPropagation(net)
        asked.setEvidence(seen)
        asked.setTargets({target for target in targets if target not in seen})
        chance = weight * (asked.evidenceProbability() if seen else 1.0)
        whole += chance
        for target in targets:
            states = variables[target]["states"]
            known = [float(state == seen[target]) for state in states] if target in seen else None
            for place, p in enumerate(known or asked.posterior(target).toarray()):
                sums[target][place] += chance * float(p)
    return whole, {target: [s / whole for s in states] for target, states in sums.items()} if whole else {}


def terms(variables, observed):
    """Evidence in weighted parts. A run ties all that it could show together, more than a library can hold; what it says is a floor
    and, for each combination above it, what is above, there with every finding known."""
    parts = [(1.0, {})]
    for seen, state in observed.items():
        reader = variables[seen]["parents"][0] if variables[seen]["parents"] else None
        own = [(1.0, {seen: state})]
        if reader and variables[reader]["kind"] == "reader":
            chances = variables[seen]["table"][1::2]
            own = [(chances[0], {})]
            draws = [{}]
            for draw in drawn_for(variables, reader):
                draws = [{**d, draw: s} for d in draws for s in variables[draw]["states"]]
            for place, state in list(enumerate(variables[reader]["states"]))[1:]:
                own += [(chances[place] - chances[0], {**d, reader: state}) for d in draws]
        parts = [(w * more, {**known, **new}) for w, known in parts for more, new in own if more > 0.0]
    return parts


def drawn_for(variables, reader):
    """The draws that decide what a run saw."""
    found, left = set(), [reader]
    while left:
        variable = variables[left.pop()]
        if variable["kind"] == "draw":
            found.add(variable["id"])
        elif variable["kind"] == "reader":
            left += variable["parents"]
        else:
            left += [v for v in variable["parents"] if variables[v]["kind"] == "draw"]
    return sorted(found)


def forced(variables, observed):
    """The evidence with every state that it leaves no choice about, such as each input of a largest one that is normal; None if it
    cannot be. The library would find the same, but only after it has laid out its tables."""
    seen, left = dict(observed), list(observed)
    while left:
        variable = variables[left.pop()]
        over = [*variable["parents"], variable["id"]]
        sizes = [range(len(variables[v]["states"])) for v in over]
        known = [variables[v]["states"].index(seen[v]) if v in seen else None for v in over]
        can = [
            at
            for at, p in zip(itertools.product(*sizes), variable["table"], strict=True)
            if p > 0.0 and all(k is None or k == a for k, a in zip(known, at))
        ]
        if not can:
            return None
        for place, name in enumerate(over):
            if name not in seen and len({at[place] for at in can}) == 1:
                seen[name] = variables[name]["states"][can[0][place]]
                left.append(name)
                left += [variable["id"]]
    return seen


def differ(engine, answer):
    """The largest difference, and where it is."""
    found = [(abs(engine[key] - answer[key]), key) for key in ("ln_observed", "nothing_known")]
    for name, states in answer["posterior"].items():
        found += [(abs(a - b), name) for a, b in zip(engine["posterior"][name], states, strict=True)]
    return max(found)


def record(said):
    recorded = {"library": " ".join(LIBRARY), "networks": [], "cases": [], "random": []}
    for name, engine, answer in said:
        kept = {"ln_observed": answer["ln_observed"], "nothing_known": answer["nothing_known"]}
        digits = {v: [float(f"{p:.12g}") for p in states] for v, states in answer["posterior"].items()}
        if name.isdigit():
            causes = {v: states for v, states in digits.items() if v.startswith("c_")}
            recorded["random"].append({"seed": int(name), **kept, "posterior": causes})
            continue
        if engine["noisy"] not in recorded["networks"]:
            recorded["networks"].append(engine["noisy"])
        place = recorded["networks"].index(engine["noisy"])
        case = {"title": name, "network": place, "evidence": engine["evidence"], **kept, "posterior": digits}
        recorded["cases"].append(case)
    lines = [f'"library": {json.dumps(recorded["library"])}']
    for key in ("networks", "cases", "random"):
        rows = ",\n".join(json.dumps(row, separators=(",", ":")) for row in recorded[key])
        lines.append(f'"{key}": [\n{rows}\n]')
    RECORDED.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    print(f"recorded in {RECORDED.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
