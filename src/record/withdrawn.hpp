// Records that take others out: what counts, and what is only told of.
#ifndef DRYSHAFT_RECORD_WITHDRAWN_HPP
#define DRYSHAFT_RECORD_WITHDRAWN_HPP

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "dryshaft/record.hpp"

namespace dryshaft {

// Whether a record tells of no inspection, but only that others are withdrawn, or that the unit
// left the shop's care.
bool is_notice(const Record& record);

// That one record takes out another.
struct Taken {
  std::size_t record;  // that is taken out
  std::size_t by;
  Withdrawn said;  // empty where a replacement says no more
  bool replaced;
};

struct Counts {
  std::vector<Taken> taken;   // by record; each record once
  std::vector<bool> is_void;  // notices that stand after `today`
};

// `records`: equal ones once.
Counts what_counts(const std::vector<Record>& records, std::optional<int> today,
                   std::vector<Diagnostic>& complaints);

}  // namespace dryshaft

#endif
