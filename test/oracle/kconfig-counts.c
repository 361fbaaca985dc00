/*
 * Counts what the Kconfig files of a tree define, by the tree's own parser: linked with the objects of its
 * scripts/kconfig, all but conf.o. Prints `name count` lines. Run as conf is, with the Kconfig file as its argument.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lkc.h"

static struct {
	int files, entries, symbols, choices, choice_members, tristate_choices, optional_choices;
	int menus, comments, ifs;
	int by_type[16], by_property[16];
} count;

/* Linked with --wrap=fopen: the files that were read, each once. */
FILE *__real_fopen(const char *path, const char *mode);

FILE *__wrap_fopen(const char *path, const char *mode)
{
	static char *seen[1 << 14];
	FILE *file = __real_fopen(path, mode);
	int i = 0;

	if (!file)
		return NULL;
	while (seen[i] && strcmp(seen[i], path))
		i++;
	if (!seen[i]) {
		seen[i] = strdup(path);
		count.files++;
	}
	return file;
}

static void count_symbol(struct symbol *sym)
{
	struct property *prop;

	/* Only writing a .config sets this mark. */
	if (sym->flags & SYMBOL_WRITTEN)
		return;
	sym->flags |= SYMBOL_WRITTEN;

	if (sym_is_choice(sym)) {
		count.choices++;
		if (sym->type == S_TRISTATE)
			count.tristate_choices++;
#ifdef SYMBOL_OPTIONAL
		if (sym->flags & SYMBOL_OPTIONAL)
			count.optional_choices++;
#endif
	} else {
		count.symbols++;
		count.by_type[sym->type]++;
		if (sym_is_choice_value(sym))
			count.choice_members++;
	}
	for (prop = sym->prop; prop; prop = prop->next)
		count.by_property[prop->type]++;
}

static void walk(struct menu *menu)
{
	for (; menu; menu = menu->next) {
		if (menu->sym) {
			count.entries++;
			count_symbol(menu->sym);
		} else if (!menu->prompt) {
			count.ifs++;
		} else if (menu->prompt->type == P_COMMENT) {
			count.comments++;
		} else {
			count.menus++;
		}
		walk(menu->list);
	}
}

int main(int argc, char **argv)
{
	if (argc != 2)
		return 2;
	conf_parse(argv[1]);
	walk(rootmenu.list);

#define PRINT(name, value) printf(#name " %d\n", value)
	PRINT(files, count.files);
	PRINT(entries, count.entries);
	PRINT(symbols, count.symbols);
	PRINT(bool, count.by_type[S_BOOLEAN]);
	PRINT(tristate, count.by_type[S_TRISTATE]);
	PRINT(int, count.by_type[S_INT]);
	PRINT(hex, count.by_type[S_HEX]);
	PRINT(string, count.by_type[S_STRING]);
	PRINT(untyped, count.by_type[S_UNKNOWN]);
	PRINT(choices, count.choices);
	PRINT(choice_members, count.choice_members);
	PRINT(tristate_choices, count.tristate_choices);
	PRINT(optional_choices, count.optional_choices);
	PRINT(menus, count.menus);
	PRINT(menuconfigs, count.by_property[P_MENU]);
	PRINT(comments, count.comments);
	PRINT(ifs, count.ifs);
	PRINT(prompts, count.by_property[P_PROMPT]);
	PRINT(defaults, count.by_property[P_DEFAULT]);
	PRINT(selects, count.by_property[P_SELECT]);
	PRINT(implies, count.by_property[P_IMPLY]);
	PRINT(ranges, count.by_property[P_RANGE]);
	return 0;
}
