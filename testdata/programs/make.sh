#!/bin/sh
# Makes the programs here with the bare-metal GNU Arm compiler of Debian
# (gcc-arm-none-eabi 12.2): sh make.sh
set -eu
cd "$(dirname "$0")"
for name in show empty; do
	arm-none-eabi-gcc -mcpu=cortex-m4 -mthumb -mfloat-abi=hard -mfpu=fpv4-sp-d16 -O1 -fno-common \
		-ffunction-sections -nostdlib -Wl,--gc-sections -Wl,--build-id=none -T cart.ld -o "$name.elf" "$name.c" -lgcc
	arm-none-eabi-strip --strip-debug "$name.elf"
done
