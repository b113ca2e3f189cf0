#!/bin/sh
# Every profile on the simulated bench, and every listed requirement held against its profile.
# Leaves profiles.xml for the build server and trace-….csv for whoever asks what is proved by what.
set -eu
python=${PYTHON:-python3}
status=0
"$python" -m pytest profiles/ --fixture fixtures/simulated.yaml -q -n 2 --junitxml profiles.xml || status=$?
for list in profiles/*.requirements.txt; do
  name=$(basename "$list" .requirements.txt)
  "$python" -m benchtest trace "profiles/$name.yaml" --requirements "$list" --csv >"trace-$name.csv" || status=$?
done
exit "$status"
