// What is asked for in words: by a page, and by a program in C.
#ifndef DRYSHAFT_REPORT_IN_WORDS_HPP
#define DRYSHAFT_REPORT_IN_WORDS_HPP

#include <string>
#include <string_view>

#include "dryshaft/dryshaft.hpp"

namespace dryshaft {

// Empty: what holds without it, the first of each list.
struct InWords {
  std::string_view format;  // json, text, markdown, html, csv
  std::string_view reader;  // technician, owner
  std::string_view units;   // km, mi
  std::string_view today;   // YYYY-MM-DD
  bool buying = false;
};

struct Task {
  AssessOptions options;
  std::string format;
  Units units = Units::km;
};

// No value: a complaint says which word is none.
Result<Task> task_in(const InWords& words);

std::string written(const Report& report, const Task& task);
// As `assess` writes it: of one unit its report, of several the table; JSON and CSV a line each.
std::string written(const Batch& batch, const Task& task);

}  // namespace dryshaft

#endif
