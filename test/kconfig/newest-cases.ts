import type { MeaningCase } from './meaning-cases.ts';

const modules = 'config MODULES\n\tbool "modules"\n\tmodules\n';
const moved = `${modules}config OLD
	bool
	transitional
	help
	  Now NEW.
config NEW
	bool "new"
	default OLD
config OLD_SIZE
	int
	transitional
	help
	  Now SIZE.
config SIZE
	int "size"
	range 1 10
	default OLD_SIZE
config OLD_STATE
	tristate
	transitional
	help
	  Now STATE.
config STATE
	tristate "state"
	depends on LIMIT
	default OLD_STATE
config LIMIT
	tristate "limit"
config REST
	def_bool SIZE = 10
`;

const conditional = (condition: string): string =>
  `${modules}config X\n\tbool "x"\nconfig Y\n\ttristate "y"\nconfig Z\n\tbool "z"\nconfig F\n\tbool "f"\n\tdepends on X if ${condition}\n\tdefault y\n`;

/** What only the newest generation has. */
export const newestCases: readonly MeaningCase[] = [
  {
    name: 'transitional: the old value is taken over',
    kconfig: moved,
    config: 'CONFIG_OLD=y\nCONFIG_OLD_SIZE=7\n',
  },
  {
    name: 'transitional: the new value wins',
    kconfig: moved,
    config: 'CONFIG_OLD=y\n# CONFIG_NEW is not set\nCONFIG_OLD_SIZE=7\nCONFIG_SIZE=3\n',
  },
  { name: 'transitional: the range holds', kconfig: moved, config: 'CONFIG_OLD_SIZE=77\n' },
  { name: 'transitional: no old value', kconfig: moved, config: '' },
  {
    name: 'transitional: limited by modules',
    kconfig: moved,
    config: 'CONFIG_MODULES=y\nCONFIG_OLD_STATE=y\nCONFIG_LIMIT=m\n',
  },
  {
    name: 'transitional: from a defconfig',
    kconfig: moved,
    mode: 'defconfig',
    config: 'CONFIG_MODULES=y\nCONFIG_OLD_STATE=y\nCONFIG_LIMIT=m\nCONFIG_OLD_SIZE=77\n',
  },
  {
    name: 'transitional: all no',
    kconfig: moved,
    mode: 'allnoconfig',
    config: 'CONFIG_OLD=y\nCONFIG_OLD_SIZE=7\n',
  },
  ...['Y', '!Y', 'Y && Z', 'Y || Z', '!(Y && Z)', 'Y = m', 'Y != n', 'm', '"x" = "y"'].flatMap((condition) =>
    ['', 'CONFIG_MODULES=y\nCONFIG_Y=m\n', 'CONFIG_Z=y\nCONFIG_Y=y\n', 'CONFIG_X=y\nCONFIG_Y=y\n'].map(
      (config, at) => ({
        name: `depends on X if ${condition}, ${at}`,
        kconfig: conditional(condition),
        config,
      }),
    ),
  ),
];
