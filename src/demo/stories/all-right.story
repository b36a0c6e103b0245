# Everything goes well: about eight minutes at the bench, a short cook, a finished batch.
title   All right
recipe  three-oils
bench   standard
seed    41
until   15 min

hand
