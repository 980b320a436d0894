#include "base/complaints.hpp"

#include <fmt/format.h>

#include <utility>

namespace dryshaft {
namespace {

bool is_of_kind(const Diagnostic& a, const Diagnostic& b) {
  return a.severity == b.severity && a.code == b.code && a.source == b.source;
}

void count(Diagnostic& sum, std::size_t more) {
  sum.more += more;
  sum.message = fmt::format("and {} more like {}", fmt::group_digits(sum.more),
                            sum.more == 1 ? "it" : "these");
}

Diagnostic sum_of(Severity severity, const std::string& code, const std::string& source,
                  std::size_t more) {
  Diagnostic sum;
  sum.severity = severity;
  sum.code = code;
  sum.source = source;
  count(sum, more);
  return sum;
}

// One that was counted, for whoever goes on to complete it.
Diagnostic& not_kept(Diagnostic d) {
  thread_local Diagnostic last;
  return last = std::move(d);
}

}  // namespace

bool Complaints::lists(const Diagnostic& d) {
  Count& kind = kinds_[{d.source, d.severity, d.code}];
  if (d.more == 0 && kind.listed < kListedComplaints) {
    ++kind.listed;
    return true;
  }
  kind.more += d.more == 0 ? 1 : d.more;
  return false;
}

std::vector<Diagnostic> Complaints::rest() {
  std::vector<Diagnostic> out;
  for (auto& [kind, count] : kinds_) {
    if (const std::size_t more = std::exchange(count.more, 0); more > 0) {
      out.push_back(sum_of(std::get<Severity>(kind), std::get<2>(kind), std::get<0>(kind), more));
    }
  }
  return out;
}

std::size_t number_of(const std::vector<Diagnostic>& complaints) {
  std::size_t number = 0;
  for (const Diagnostic& d : complaints) {
    number += d.more == 0 ? 1 : d.more;
  }
  return number;
}

Diagnostic& add_complaint(std::vector<Diagnostic>& out, Diagnostic d) {
  std::size_t listed = 0;
  // From the back: a sum stands behind those that are listed.
  for (std::size_t i = out.size(); i-- > 0;) {
    if (!is_of_kind(out[i], d)) {
      continue;
    }
    if (out[i].more > 0) {
      count(out[i], d.more == 0 ? 1 : d.more);
      return not_kept(std::move(d));
    }
    ++listed;
  }
  if (listed >= kListedComplaints && d.more == 0) {
    out.push_back(sum_of(d.severity, d.code, d.source, 1));
    return not_kept(std::move(d));
  }
  return out.emplace_back(std::move(d));
}

}  // namespace dryshaft
