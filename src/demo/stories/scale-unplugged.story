# Somebody pulls the scale's cable while the second oil runs, and puts it back after 4 s.
title   Scale unplugged in mid-pour, and back
recipe  three-oils
bench   standard
seed    23
until   15 min

hand

faults
  unplug scale for 4 s when olive is half poured
