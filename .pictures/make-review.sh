#!/bin/sh
# Makes review.png, the picture of a review in the README: a hot day of the simulated tent in
# config/chillies.yaml (invented) over real weather. Run from anywhere; needs lungwort on the PATH
# and Chromium (CHROMIUM=... names another one).
set -eu
here=$(cd "$(dirname "$0")" && pwd)
config="$here/../config/chillies.yaml"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
lungwort rehearse "$config" --from 2013-07-23 --days 5 --record "$work/hot.sqlite3" >/dev/null
lungwort review "$config" --record "$work/hot.sqlite3" --day 2013-07-26 --html "$work/day.html"
"${CHROMIUM:-chromium}" --headless --no-sandbox --disable-gpu --no-first-run \
  --disable-background-networking --disable-component-update --disable-sync \
  --user-data-dir="$work/profile" --hide-scrollbars --window-size=1180,1560 \
  --screenshot="$here/review.png" "file://$work/day.html" 2>/dev/null
echo "$here/review.png"
