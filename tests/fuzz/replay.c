/* Plays the files of the folders named as arguments, once each. Prints how many; no file is an error. */
#include <dirent.h>
#include <string.h>
#include <sys/stat.h>

#include "tests/fuzz/fuzz.h"

enum { INPUT_MAX = 1 << 20 };

static void play(const char *path)
{
	struct stat st;
	FILE *file = fopen(path, "rb");
	HOLDS(file && fstat(fileno(file), &st) == 0 && st.st_size <= INPUT_MAX);
	size_t n = (size_t)st.st_size;
	uint8_t *bytes = malloc(n ? n : 1); /* its own, so that a read beyond the end is seen */
	HOLDS(bytes && fread(bytes, 1, n, file) == n);
	(void)fclose(file);
	(void)fprintf(stderr, "%s\n", path); /* the last one is at fault when the program dies */
	(void)LLVMFuzzerTestOneInput(bytes, n);
	free(bytes);
}

static size_t play_folder(const char *folder)
{
	struct dirent **entries = NULL;
	size_t played = 0;
	int n = scandir(folder, &entries, NULL, alphasort);
	for (int i = 0; i < n; i++) {
		char path[1024];
		struct stat st;
		(void)snprintf(path, sizeof path, "%s/%s", folder, entries[i]->d_name);
		if (stat(path, &st) == 0 && S_ISREG(st.st_mode)) {
			play(path);
			played++;
		}
		free(entries[i]);
	}
	free(entries);
	return played;
}

int main(int argc, char **argv)
{
	size_t played = 0;
	for (int i = 1; i < argc; i++)
		played += play_folder(argv[i]);
	(void)printf("%zu inputs\n", played);
	return played > 0 ? 0 : 1;
}
