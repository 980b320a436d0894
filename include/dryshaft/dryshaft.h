/*
 * The library for C, and for whatever calls C: records in as text, reports out as text.
 *
 *     dryshaft_grader* grader = NULL;
 *     char* complaints = NULL;
 *     char* report = NULL;
 *     dryshaft_options options = {.format = "text", .reader = "owner"};
 *     if (dryshaft_open("/usr/local/share/dryshaft", &grader, &complaints) == DRYSHAFT_DONE) {
 *       dryshaft_free(complaints);
 *       dryshaft_assess(grader, text, strlen(text), &options, &report, &complaints);
 *       puts(report);
 *     }
 *     dryshaft_free(report);
 *     dryshaft_free(complaints);
 *     dryshaft_free_grader(grader);
 *
 * Every text is UTF-8. What a call gives ends with a zero byte and is the caller's to free, by
 * dryshaft_free. No call throws, prints, or reads clock, locale or environment; only dryshaft_open
 * reads files.
 *
 * Threads: nothing is kept between calls. Any number of threads may use one grader at once; it is
 * freed when none does any more.
 *
 * The interface: functions and members of structs are added at the end, under a new minor version,
 * which the library's name has as well (libdryshaft.so.0.1).
 */
#ifndef DRYSHAFT_DRYSHAFT_H
#define DRYSHAFT_DRYSHAFT_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* What became of a call; the program's exit codes say the same. */
enum {
  DRYSHAFT_DONE = 0,
  DRYSHAFT_USAGE = 2,    /* an argument is none; nothing was done */
  DRYSHAFT_REJECTED = 3, /* some input was refused; all the rest was graded */
  DRYSHAFT_BUG = 70      /* a bug in dryshaft, or no memory */
};

/* The version of the library, such as "0.1.0"; never freed. */
const char* dryshaft_version(void);

/* Rules and families, compiled. */
typedef struct dryshaft_grader dryshaft_grader;

/* A file that the caller has read: a name for complaints, and what it holds. */
typedef struct dryshaft_file {
  const char* name;
  const char* text;
  size_t size; /* bytes of the text */
} dryshaft_file;

/*
 * Opens rules and families: those below a folder of data (DATA/rules and DATA/families), or those
 * that the caller has read. `grader` is set where they are sound (DRYSHAFT_DONE; there may be
 * warnings), else it is null: DRYSHAFT_REJECTED. About `complaints`: see dryshaft_assess.
 */
int dryshaft_open(const char* data, dryshaft_grader** grader, char** complaints);
int dryshaft_open_texts(const dryshaft_file* rules, size_t number_of_rules,
                        const dryshaft_file* families, size_t number_of_families,
                        dryshaft_grader** grader, char** complaints);

/* As words, those of the command line; null or left out: the first of each. */
typedef struct dryshaft_options {
  const char* format; /* "json" (one object a line), "text", "markdown", "html", "csv" */
  const char* reader; /* "technician", "owner" */
  const char* units;  /* "km", "mi" */
  const char* today;  /* "YYYY-MM-DD"; null: the newest date of the records */
  const char* name;   /* of the text, in complaints and reports; null: "<records>" */
  int buying;         /* not 0: an owner who is about to buy the car */
} dryshaft_options;

/*
 * Grades what a text of records holds, as `dryshaft assess` does: one unit's report, or the table
 * of several, worst first. `options` may be null.
 *
 * DRYSHAFT_DONE or DRYSHAFT_REJECTED: `report` is set, and empty where nothing could be graded.
 * Else it is null. `complaints`, unless it is a null pointer, is set to a JSON text
 * (dryshaft-complaints/1): errors and warnings with file, line, column, reason, and what is
 * allowed. It has an empty list where there are none.
 */
int dryshaft_assess(const dryshaft_grader* grader, const char* records, size_t size,
                    const dryshaft_options* options, char** report, char** complaints);

/* A null pointer may be freed as well. */
void dryshaft_free(char* text);
void dryshaft_free_grader(dryshaft_grader* grader);

#ifdef __cplusplus
}
#endif

#endif
