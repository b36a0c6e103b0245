# The heat is forgotten while the pot cooks: it climbs towards the point where it boils over. The
# warning comes below it, is seen, and the pot cools.
title   A pot about to boil over, and brought down
recipe  three-oils
bench   standard
seed    29
until   15 min

hand
  overheat to 97 °C
