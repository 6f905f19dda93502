#!/bin/bash
# A GPIO chip that gpiozero takes for a Pi 4B's, and an SHT21 at address 0x40 of an I2C bus.
set -eu
modprobe -a irq_sim gpio-sim i2c-dev sht21
modprobe i2c-stub chip_addr=0x40
mountpoint -q /sys/kernel/config || mount -t configfs none /sys/kernel/config
sim=/sys/kernel/config/gpio-sim/board
mkdir -p $sim/bank0
echo 32 >$sim/bank0/num_lines
echo pinctrl-bcm2835 >$sim/bank0/label
echo 1 >$sim/live
read -r device <$sim/dev_name
read -r chip <$sim/bank0/chip_name
ln -sfn "/sys/devices/platform/$device/$chip" /run/board

# gpiozero asks /proc which Pi this is. A service with ProtectProc= has a /proc of its own, where a
# drop-in puts this file (build_base.sh); a Pi tells it in every /proc.
{ cat /proc/cpuinfo; printf 'Revision\t: c03115\nModel\t\t: Raspberry Pi 4 Model B\n'; } >/run/cpuinfo
mount --bind /run/cpuinfo /proc/cpuinfo

# As wired: the lamp's relay board pulls in at a low level and has a resistor up (GPIO 27); the
# fan's resistors keep it running while nobody drives the wire (GPIO 17: a relay's normally open
# contact, pulled up; GPIO 22: normally closed, pulled down).
echo pull-up >/run/board/sim_gpio27/pull
echo pull-up >/run/board/sim_gpio17/pull
echo pull-down >/run/board/sim_gpio22/pull

for bus in /sys/bus/i2c/devices/i2c-*; do
    read -r name <"$bus/name"
    [[ $name == 'SMBus stub'* ]] && echo "${bus##*-}" >/run/i2c-bus
done
bench-air.sh 22500 55000
read -r bus </run/i2c-bus
echo sht21 0x40 >"/sys/bus/i2c/devices/i2c-$bus/new_device"
