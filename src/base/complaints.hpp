// Complaints without end, kept to a number that can be read and held.
#ifndef DRYSHAFT_BASE_COMPLAINTS_HPP
#define DRYSHAFT_BASE_COMPLAINTS_HPP

#include <cstddef>
#include <map>
#include <string>
#include <tuple>
#include <vector>

#include "dryshaft/diagnostic.hpp"

namespace dryshaft {

// Of a kind are complaints of one severity, code and source. The first `kListedComplaints` of a
// kind are listed; the rest are counted, and one complaint stands for them (`Diagnostic::more`).

// For complaints that come in portions: says which are listed.
class Complaints {
 public:
  // False: `d` was counted, and need not be kept.
  bool lists(const Diagnostic& d);
  // One for each kind of which some were counted, and counts them no longer.
  std::vector<Diagnostic> rest();

 private:
  using Kind = std::tuple<std::string, Severity, std::string>;  // source, severity, code
  struct Count {
    std::size_t listed = 0;
    std::size_t more = 0;
  };
  std::map<Kind, Count> kinds_;
};

// For complaints that all stand in `out`: adds one, or counts it there. Gives the one that was
// added, to be completed; one that was only counted is gone after the next call.
Diagnostic& add_complaint(std::vector<Diagnostic>& out, Diagnostic d);

// How many complaints there were, listed or not.
std::size_t number_of(const std::vector<Diagnostic>& complaints);

// What complaints about one text are sorted by: those that stand for others come last.
inline auto place_in_text(const Diagnostic& d) { return std::tuple(d.more > 0, d.line, d.column); }

}  // namespace dryshaft

#endif
