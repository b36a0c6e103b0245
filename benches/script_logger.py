"""What somebody would write in an afternoon: a thread for each instrument, a regular expression, one
row a reading, a decision. Kept as the figure to compare with; see docs/figures.md.

script_logger.py DATABASE PORT...    the first port is the scale
prints for each reading of the scale: tenths of a gram, CLOCK_MONOTONIC in ns when it was decided
"""

import os
import re
import sqlite3
import sys
import termios
import threading
import time

LINE = re.compile(rb"^(ST|US|T\d)[ ,]([+-][0-9]+\.[0-9])")
LIMIT = 2500.0

database = sqlite3.connect(sys.argv[1], check_same_thread=False, timeout=60)
database.execute("PRAGMA journal_mode=WAL")
database.execute("CREATE TABLE reading (at REAL, port INTEGER, value REAL, over INTEGER)")
lock = threading.Lock()


def listen(number, path):
    port = os.open(path, os.O_RDWR | os.O_NOCTTY)
    settings = termios.tcgetattr(port)
    settings[0] = settings[1] = settings[3] = 0
    termios.tcsetattr(port, termios.TCSANOW, settings)
    waiting = b""
    while True:
        waiting += os.read(port, 4096)
        *lines, waiting = waiting.split(b"\n")
        for line in lines:
            found = LINE.match(line)
            if not found:
                continue
            value = float(found[2])
            over = value > LIMIT
            if number == 0:
                now = time.monotonic_ns()
                print(round(value * 10), now, flush=True)
            with lock:
                row = (time.time(), number, value, over)
                database.execute("INSERT INTO reading VALUES (?, ?, ?, ?)", row)
                database.commit()


for number, path in enumerate(sys.argv[2:]):
    threading.Thread(target=listen, args=(number, path), daemon=True).start()
sys.stdin.read()
