"""Runs the script and our program in turn as whole processes and prints what each took.

    compare.py SEEDS STARTS

First both evaluate one layout, to show that they solve the same problem.
"""

import json
import os
import pathlib
import resource
import statistics
import subprocess
import sys
import tempfile
import time

OURS = "target/release/pivotwright"
SCRIPT = [sys.executable, "benches/peers/slsqp.py"]
LEAST_AGREEMENT = 1e-6


def timed(command):
    """Output of a process, and its seconds by the wall and by the processor."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True)
    wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode != 0:
        sys.exit(f"{' '.join(map(str, command))} failed:\n{done.stdout}{done.stderr}")
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return done.stdout, wall, used


def search(variant, seed, starts, out, *more, threads=1):
    brief = f"tests/it/data/reference/{variant}.brief.json"
    return timed(
        [OURS, "search", brief, "--threads", str(threads), "--starts", starts, "--seed", str(seed),
         "--quiet", "--out", str(out), *more]
    )


def agree(folder):
    """The largest difference of any curve on a layout that our program found."""
    search("a", 1, "8", folder / "check")
    layout, curves = folder / "check/layouts/01.json", folder / "curves.json"
    curves.write_text(timed([OURS, "curves", layout, "--format", "json"])[0])
    off = json.loads(timed([*SCRIPT, "check", layout, curves])[0])
    worst = max(off.values())
    if worst > LEAST_AGREEMENT:
        sys.exit(f"the script and our program disagree: {off}")
    return worst


def compare(variant, seed, starts, folder):
    text, wall, used = timed([*SCRIPT, variant, str(seed)])
    script = json.loads(text)
    out = folder / f"{variant}{seed}"
    _, our_wall, our_used = search(variant, seed, starts, out)
    bare = folder / f"{variant}{seed}.bare"
    _, bare_wall, bare_used = search(variant, seed, starts, bare, "--bare")
    bare = folder / f"{variant}{seed}.bare.all"
    _, all_wall, _ = search(variant, seed, starts, bare, "--bare", threads=os.cpu_count())
    results = json.loads((out / "results.json").read_text())
    layouts = [layout for layout in results["layouts"] if layout["feasible"]]
    print(
        f"{variant.upper()} {seed:4}  {wall:6.3f} {used:6.3f} {script['evaluations']:6} "
        f"{1e6 * script['processor_seconds'] / script['evaluations']:6.0f}   "
        f"{our_wall:6.3f} {our_used:6.3f} {results['evaluations']:6} {len(layouts):5}   "
        f"{wall / our_wall:5.1f} {used / our_used:5.1f}   {bare_wall:6.3f} {bare_used:6.3f} "
        f"{wall / bare_wall:5.1f} {used / bare_used:5.1f}   {all_wall:6.3f} {wall / all_wall:5.1f}"
    )
    return wall, used, our_wall, our_used, bare_wall, bare_used, all_wall


def machine():
    for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            return f"{line.split(':')[1].strip()}, {os.cpu_count()} cores"
    return "unknown machine"


def main():
    seeds, starts = int(sys.argv[1]), sys.argv[2]
    print(f"{machine()}; {starts} starts of ours; seconds of whole processes, cold, one thread")
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        print(f"curves of one layout agree within {agree(folder):.1e}\n")
        print("             script                       ours                          ratio  "
              "     bare            ratio     all cores")
        print("  seed    wall    cpu  evals  us/ev     wall    cpu  evals  kept    wall   cpu  "
              "   wall    cpu   wall   cpu     wall ratio")
        for variant in "ab":
            rows = [compare(variant, seed, starts, folder) for seed in range(1, seeds + 1)]
            medians = [statistics.median(column) for column in zip(*rows)]
            wall, used, our_wall, our_used, bare_wall, bare_used, all_wall = medians
            print(f"{variant.upper()} median of seeds: script {wall:.3f} s wall, {used:.3f} s cpu; "
                  f"ours {our_wall:.3f} s, {our_used:.3f} s: "
                  f"{wall / our_wall:.1f} and {used / our_used:.1f} times as fast; "
                  f"bare {bare_wall:.3f} s, {bare_used:.3f} s: "
                  f"{wall / bare_wall:.1f} and {used / bare_used:.1f} times; "
                  f"on all cores {all_wall:.3f} s: {wall / all_wall:.1f} times\n")


main()
