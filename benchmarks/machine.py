"""Names the machine and the versions in one line, for the head of each benchmark's output."""

import os
import platform
from importlib.metadata import PackageNotFoundError, version


def machine(*packages: str) -> str:
    """Return processor, cores, load, Python and the versions of `packages`."""
    cpu = "unknown processor"
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as lines:
            cpu = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), cpu)
    except OSError:
        cpu = platform.processor() or cpu
    seen = []
    for name in packages:
        try:
            seen.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            seen.append(f"{name} not installed")
    load = f"{os.getloadavg()[0]:.1f}"
    return f"machine: {cpu}, {os.cpu_count()} cores, load {load}; Python {platform.python_version()}; {', '.join(seen)}"
