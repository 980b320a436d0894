/*
 * Grades the records of a file, in C.
 *
 *     grade_in_c DATA FILE [FORMAT]    DATA holds rules and families, such as
 * /usr/local/share/dryshaft
 */
#include <dryshaft/dryshaft.h>
#include <stdio.h>
#include <stdlib.h>

/* The bytes of a file, to be freed; NULL where it cannot be read. */
static char* text_of(const char* path, size_t* size) {
  FILE* const file = fopen(path, "rb");
  char* text = NULL;
  size_t room = 0;
  size_t got = 0;
  *size = 0;
  if (file == NULL) {
    return NULL;
  }
  do {
    room += 65536;
    char* const more = realloc(text, room);
    if (more == NULL) {
      free(text);
      fclose(file);
      return NULL;
    }
    text = more;
    got = fread(text + *size, 1, room - *size, file);
    *size += got;
  } while (got > 0);
  fclose(file);
  return text;
}

int main(int count, char** arguments) {
  if (count < 3) {
    fprintf(stderr, "usage: grade_in_c DATA FILE [FORMAT]\n");
    return DRYSHAFT_USAGE;
  }
  dryshaft_grader* grader = NULL;
  char* complaints = NULL;
  int status = dryshaft_open(arguments[1], &grader, &complaints);
  if (status != DRYSHAFT_DONE) {
    fputs(complaints == NULL ? "no memory\n" : complaints, stderr);
    dryshaft_free(complaints);
    return status;
  }
  dryshaft_free(complaints);

  size_t size = 0;
  char* const records = text_of(arguments[2], &size);
  if (records == NULL) {
    perror(arguments[2]);
    dryshaft_free_grader(grader);
    return DRYSHAFT_REJECTED;
  }
  const dryshaft_options options = {.format = count > 3 ? arguments[3] : "text",
                                    .name = arguments[2]};
  char* report = NULL;
  status = dryshaft_assess(grader, records, size, &options, &report, &complaints);
  if (report != NULL) {
    fputs(report, stdout);
  }
  if (status != DRYSHAFT_DONE && complaints != NULL) {
    fputs(complaints, stderr);
  }
  dryshaft_free(report);
  dryshaft_free(complaints);
  free(records);
  dryshaft_free_grader(grader);
  return status;
}
