#!/bin/bash
# The air of tent and intake, for ever: up and down within half an hour, with a sensor's scatter.
# Formulas as in bench-air.sh.
read -r bus </run/i2c-bus
set_word() { # ADDRESS REGISTER VALUE
    i2cset -y -f "$bus" "$1" "$2" "$(printf '0x%02x%02x' $(($3 & 255)) $(($3 >> 8)))" w
}
set_air() { # ADDRESS MILLIDEGREES MILLIPERCENT
    set_word "$1" 0xe3 $((($2 + 46850) * 65536 / 175720))
    set_word "$1" 0xe5 $((($3 + 6000) * 65536 / 125000))
}
for ((step = 0; ; step = (step + 1) % 180)); do
    rise=$((step < 90 ? step : 180 - step))
    set_air 0x40 $((22500 + 25 * rise + RANDOM % 200)) $((58000 + 80 * rise + RANDOM % 500))
    set_air 0x41 $((20000 + RANDOM % 200)) $((50000 + RANDOM % 500))
    sleep 10
done
