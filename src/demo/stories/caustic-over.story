# A slip with the scoop: 4 g of caustic too much. The alarm sounds, the excess is spooned out
# into waste, and the batch goes on.
title   Caustic over-poured and spooned back
recipe  three-oils
bench   standard
seed    7
until   15 min

hand
  overpour naoh by 4 g
