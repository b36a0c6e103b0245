# A second spoonful of caustic went in after its cup was weighed, and is owned up to when all has
# dissolved. The lye is put on the pan, and only that part of it is used which the oils take.
title   Too much caustic, noticed when it has dissolved
recipe  three-oils
bench   standard
seed    61
until   15 min

hand
  tip 3 g more naoh than weighed
