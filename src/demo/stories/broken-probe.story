# The probe in the pot breaks in mid-cook. Its number goes at once and cook time stands still, until
# the operator reads a thermometer of their own and says so.
title   A broken probe, and a cook kept going by hand
recipe  three-oils
bench   standard
seed    31
until   15 min

hand
  measure by hand

faults
  dead pot when cooked 1 min
