/*
 * Loaded into the kernel's own scripts/kconfig/conf by LD_PRELOAD; conf itself stays as the tree builds it.
 *
 *   REFEREE_ENVIRONMENT=FILE  write the environment that make gave conf to FILE, and end
 *   REFEREE_RECORD=FILE       run each probe, and append its command and its output to FILE
 *   REFEREE_REPLAY=FILE       answer each probe from such a file; one that is not there ends the program
 *   REFEREE_ANSWER=TEXT       answer every probe so
 *   REFEREE_FORK=PATH         once the Kconfig files are read, fork for each line of standard input: a folder and
 *                             variables, separated by tabs. The child goes on there as conf does, with these in its
 *                             environment, and what it prints in the files `stdout` and `stderr`; its exit status
 *                             is written to standard output. PATH is a file that only a job opens.
 *
 * Only preprocess.c calls popen, while Kconfig files are read: no answer depends on a .config, and a program that has
 * read them is the same whatever it does next.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { no_answer = 97, broken = 98 };

extern char **environ;
static FILE *answer;

static void stop(int status, const char *why, const char *what)
{
	fprintf(stderr, "referee: %s: %s\n", why, what);
	_exit(status);
}

static char *variable(const char *name)
{
	size_t length = strlen(name);

	for (char **at = environ; at && *at; at++)
		if (!strncmp(*at, name, length) && (*at)[length] == '=')
			return *at + length + 1;
	return NULL;
}

static int is_conf(void)
{
	return !strcmp(program_invocation_short_name, "conf");
}

__attribute__((constructor)) static void write_environment(void)
{
	const char *path = variable("REFEREE_ENVIRONMENT");
	FILE *out;

	if (!path || !is_conf())
		return;
	out = fopen(path, "w");
	if (!out)
		stop(broken, path, strerror(errno));
	for (char **at = environ; *at; at++)
		fwrite(*at, 1, strlen(*at) + 1, out);
	fclose(out);
	_exit(0);
}

/* A stream with this text. fmemopen knows no empty one; conf cuts line feeds off the end anyway. */
static FILE *stream_of(const char *text, size_t length)
{
	char *copy;

	if (!length) {
		text = "\n";
		length = 1;
	}
	copy = malloc(length);
	memcpy(copy, text, length);
	return answer = fmemopen(copy, length, "r");
}

static FILE *record(const char *path, const char *command, FILE *probe, int (*close)(FILE *))
{
	static char output[1 << 16];
	size_t length = fread(output, 1, sizeof(output), probe);
	FILE *out = fopen(path, "a");

	close(probe);
	if (!out)
		stop(broken, path, strerror(errno));
	fwrite(command, 1, strlen(command) + 1, out);
	fwrite(output, 1, length, out);
	fputc(0, out);
	fclose(out);
	return stream_of(output, length);
}

static FILE *replay(const char *path, const char *command)
{
	static char *records, *end;

	if (!records) {
		FILE *in = fopen(path, "r");
		long size;

		if (!in)
			stop(broken, path, strerror(errno));
		fseek(in, 0, SEEK_END);
		size = ftell(in);
		rewind(in);
		records = malloc(size + 1);
		end = records + fread(records, 1, size, in);
		*end = 0;
		fclose(in);
	}
	for (char *at = records; at < end;) {
		char *output = at + strlen(at) + 1;

		if (!strcmp(at, command))
			return stream_of(output, strlen(output));
		at = output + strlen(output) + 1;
	}
	stop(no_answer, "there is no recorded answer to", command);
	return NULL;
}

FILE *popen(const char *command, const char *mode)
{
	FILE *(*real_popen)(const char *, const char *) = dlsym(RTLD_NEXT, "popen");
	int (*real_pclose)(FILE *) = dlsym(RTLD_NEXT, "pclose");
	const char *value;

	if (!is_conf())
		return real_popen(command, mode);
	if ((value = variable("REFEREE_ANSWER")))
		return stream_of(value, strlen(value));
	if ((value = variable("REFEREE_REPLAY")))
		return replay(value, command);
	if ((value = variable("REFEREE_RECORD")))
		return record(value, command, real_popen(command, mode), real_pclose);
	return real_popen(command, mode);
}

int pclose(FILE *stream)
{
	int (*real_pclose)(FILE *) = dlsym(RTLD_NEXT, "pclose");

	if (stream != answer)
		return real_pclose(stream);
	answer = NULL;
	return fclose(stream);
}

static void begin(char *job)
{
	char *folder = strsep(&job, "\t");
	char *assignment;

	if (chdir(folder))
		stop(broken, folder, strerror(errno));
	while ((assignment = strsep(&job, "\t")))
		putenv(strdup(assignment));
	if (!freopen("/dev/null", "r", stdin) || !freopen("stdout", "w", stdout) || !freopen("stderr", "w", stderr))
		_exit(broken);
	setvbuf(stderr, NULL, _IONBF, 0);
	/* As set_randconfig_seed does, which has run by now. */
	if (variable("KCONFIG_SEED"))
		srand(strtol(variable("KCONFIG_SEED"), NULL, 0));
}

/* Returns in each child; in the parent, never. */
static void fork_for_jobs(void)
{
	static char *line;
	static size_t room;
	ssize_t length;

	while ((length = getline(&line, &room, stdin)) > 0) {
		pid_t child;
		int status;

		if (line[length - 1] == '\n')
			line[length - 1] = 0;
		fflush(stdout);
		child = fork();
		if (child < 0)
			stop(broken, "fork", strerror(errno));
		if (!child) {
			begin(line);
			return;
		}
		if (waitpid(child, &status, 0) < 0)
			stop(broken, "waitpid", strerror(errno));
		printf("%d\n", WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status));
		fflush(stdout);
	}
	_exit(0);
}

static void maybe_fork(int is_job)
{
	static int forked;

	if (!is_job || forked || !variable("REFEREE_FORK") || !is_conf())
		return;
	forked = 1;
	fork_for_jobs();
}

/* After reading Kconfig files, conf asks for one of these first, or opens the file given to --defconfig. */
char *getenv(const char *name)
{
	maybe_fork(!strcmp(name, "KCONFIG_CONFIG") || !strcmp(name, "KCONFIG_ALLCONFIG"));
	return variable(name);
}

FILE *fopen(const char *path, const char *mode)
{
	FILE *(*real_fopen)(const char *, const char *) = dlsym(RTLD_NEXT, "fopen");
	const char *only_jobs = variable("REFEREE_FORK");

	maybe_fork(only_jobs && !strcmp(path, only_jobs));
	return real_fopen(path, mode);
}
