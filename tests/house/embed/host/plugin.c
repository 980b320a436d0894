#include <dryshaft/dryshaft.h>
#include <string.h>

/* 0: a record is graded with the data in this folder. */
int graded(const char* data);

int graded(const char* data) {
  const char* const record =
      "{\"format\":\"dryshaft-record/1\",\"unit\":{\"id\":\"HL-0147\"},"
      "\"inspection\":{\"date\":\"2026-03-02\"}}";
  dryshaft_grader* grader = NULL;
  char* report = NULL;
  int status = dryshaft_open(data, &grader, NULL);
  if (status == DRYSHAFT_DONE) {
    status = dryshaft_assess(grader, record, strlen(record), NULL, &report, NULL);
  }
  const int wrong = status != DRYSHAFT_DONE || strstr(report, "\"grade\":\"U\"") == NULL;
  dryshaft_free(report);
  dryshaft_free_grader(grader);
  return wrong;
}
