"""The bench with delays of a few scans, so that short runs go everywhere."""

from __future__ import annotations

from tests.support.bench import edited

_QUICK = {
    "above 3.55 V for 1 s, clears: below 3.40 V for 30 s": "above 3.55 V for 300 ms, clears: below 3.40 V for 500 ms",
    "below 2.80 V for 3 s, clears: above 3.10 V for 60 s": "below 2.80 V for 400 ms, clears: above 3.10 V for 600 ms",
    "on for 1 s, blocks: sources": "on for 200 ms, blocks: sources",
    "on for 1 s, blocks: loads": "on for 300 ms, blocks: loads",
    "below 3 degC for 2 s, clears: above 5 degC for 60 s": "below 3 degC for 300 ms, clears: above 5 degC for 700 ms",
    "55 degC for 2 s, clears: below 45 degC for 5 min": "55 degC for 500 ms, clears: below 45 degC for 900 ms",
}
QUICK_BENCH = edited(*_QUICK.items())
