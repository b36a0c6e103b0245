# Cold process: the lye is made first and cools while the oils are weighed; they follow the caustic
# really weighed. Nothing is cooked.
title   The lye first, as in cold process
recipe  lye-first
bench   standard
seed    53
until   15 min

hand
