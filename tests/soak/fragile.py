"""Controllers that break at random: a program that ends in many ways, and a library that crashes."""

from __future__ import annotations

import subprocess
from pathlib import Path

from tests.attach.planted import COMPILER, compiled, small

# Every way in which a program may fail its harness, and how many of 1000 messages meet with it.
ENDS = {
    "exits before it answers": 120,
    "exits in the middle of a line": 80,
    "aborts": 60,
    "is killed by a bad address": 60,
    "closes its pipe and lives on": 30,
    "leaves a child behind that holds the pipes": 30,
    "prints no JSON": 30,
    "prints a row too few": 30,
    "hangs": 2,
}

_PROGRAM = r"""
#define _GNU_SOURCE
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static uint64_t chance;
static unsigned drawn(void) {
    chance = chance * 6364136223846793005u + 1442695040888963407u;
    return (unsigned)(chance >> 33) % 1000;
}
int main(int argc, char **argv) {
    static char line[1 << 20];
    static const unsigned ends[] = {ENDS};
    chance = (uint64_t)getpid() * 2654435761u + (argc > 1 ? strtoull(argv[1], 0, 10) : 0);
    drawn();
    while (fgets(line, sizeof line, stdin)) {
        const char *seq = line + strlen("{\"seq\":");
        int number = atoi(seq);
        if (strstr(line, "\"do\":\"stop\"")) return 0;
        if (strstr(line, "\"do\":\"hello\"")) {
            printf("{\"seq\":%d,\"protocol\":1,\"name\":\"fragile\",\"version\":\"1\",\"language\":\"C\","
                   "\"features\":[\"power_cycle\"]}\n", number);
            fflush(stdout);
            continue;
        }
        unsigned rows = 0, way = 0, sum = 0, at = drawn();
        for (const char *c = line; (c = strchr(c, '[')); c++) rows++;
        rows = rows > 2 ? rows - 2 : 0;
        for (; way < sizeof ends / sizeof *ends && at >= (sum += ends[way]); way++);
        switch (way) {
        case 0: _exit(3);
        case 1: printf("{\"seq\":%d,\"colu", number); fflush(stdout); _exit(0);
        case 2: abort();
        case 3: *(volatile int *)8 = 1;
        case 4: close(1); sleep(600); _exit(0);
        case 5: if (!fork()) { sleep(600); _exit(0); } _exit(4);
        case 6: printf("the relay is stuck\n"); fflush(stdout); continue;
        case 7: rows -= rows > 0; break;
        case 8: sleep(600);
        }
        if (!strstr(line, "\"do\":\"run\"")) {
            printf("{\"seq\":%d,\"ok\":true}\n", number);
        } else {
            printf("{\"seq\":%d,\"columns\":[\"stage\"],\"rows\":[", number);
            for (unsigned k = 0; k < rows; k++) printf("%s[\"bulk\"]", k ? "," : "");
            printf("]}\n");
        }
        fflush(stdout);
    }
    return 0;
}
"""


def program(folder: Path) -> Path:
    """The program, compiled; its argument is a number that gives it another fate."""
    assert COMPILER is not None
    source, made = folder / "fragile.c", folder / "fragile"
    source.write_text(_PROGRAM.replace("{ENDS}", "{" + ", ".join(map(str, ENDS.values())) + "}"))
    subprocess.run([COMPILER, "-O1", "-w", "-o", str(made), str(source)], check=True)
    return made


def library(folder: Path) -> Path:
    """A library that ends its worker at its fourth sample."""
    return compiled(folder, small(step="*(volatile int *)8 = 1;"), name="fragile")
