# The scale falls asleep while the second oil runs, and wakes with the pot as its zero. Nothing is
# counted from that: everything comes off, the empty pan is known again, the pot goes back.
title   Scale asleep, and back with another zero
recipe  three-oils
bench   standard
seed    31
until   15 min

hand

faults
  sleep scale for 12 s when olive is half poured
