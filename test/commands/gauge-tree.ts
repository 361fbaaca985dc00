import { mkdirSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';

/** A made-up kernel tree of a few files: path to text. */
export const gaugeTree: Readonly<Record<string, string>> = {
  Makefile: `VERSION = 6
PATCHLEVEL = 1
SUBLEVEL = 0
EXTRAVERSION =
KERNELVERSION = $(VERSION).$(PATCHLEVEL).$(SUBLEVEL)
SRCARCH := x86
KBUILD_DEFCONFIG := gauge_defconfig
export KERNELVERSION ARCH SRCARCH
`,
  'scripts/Kconfig.include': 'success = $(shell,{ $(1); } >/dev/null 2>&1 && echo "y" || echo "n")\n',
  Kconfig: `mainmenu "Otter Bank $(KERNELVERSION)"
source "scripts/Kconfig.include"
config MODULES
	bool "Modules"
	modules
config SONAR
	tristate "Sonar of the gauge"
	depends on PIER
config PIER
	bool "Pier"
config HAS_TRUE
	def_bool $(success,true)
config LEVEL
	int "Level"
	range 1 9
	default 5
`,
  'arch/x86/configs/gauge_defconfig': 'CONFIG_PIER=y\n',
};

/** Lays files down below a folder. */
export function layFiles(folder: string, files: Readonly<Record<string, string>>): void {
  for (const [path, text] of Object.entries(files)) {
    mkdirSync(join(folder, dirname(path)), { recursive: true });
    writeFileSync(join(folder, path), text);
  }
}
