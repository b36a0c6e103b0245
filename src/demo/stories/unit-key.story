# Somebody leans on the unit key while the water runs: ounces for a while, then grams again. The
# unit is on the wire, so nothing is lost; the change is said and kept.
title   The unit key is pressed in mid-pour
recipe  three-oils
bench   standard
seed    19
until   15 min

hand

faults
  unit scale oz for 6 s when water is half poured
