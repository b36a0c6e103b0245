# Three pots at once: one scale goes round between them, and only one has caustic about at a time.
title   Three pots
recipe  three-oils
bench   three-pots
seed    43
pots    3
until   40 min

hand
