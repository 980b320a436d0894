// Records of one id that cannot be of one drive unit.
#ifndef DRYSHAFT_RECORD_IDENTITY_HPP
#define DRYSHAFT_RECORD_IDENTITY_HPP

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/record.hpp"

namespace dryshaft {

// Readings of one event: one tells it by heart, another by the bill [judgement].
inline constexpr double kSameReadingKm = 1000;

// Whether a record says that the unit was built after its inspection, which no reader of it uses.
bool built_too_late(const Record& record);
// Whether a day (since 1970-01-01) lies before the unit was built, by a build date that may be
// used.
bool built_after(const Record& record, int day);

// Where a record cannot be of the unit that an earlier one tells of.
struct Difference {
  std::size_t record = 0;
  std::size_t other = 0;
  std::string_view in;  // what they differ in, for people
};

// Which records of one id, oldest first, tell of one unit: build date, family, vehicle and fitting
// agree, as far as they are given. A unit that was fitted after the last reading takes the place of
// the one before it, which is no difference.
class Identities {
 public:
  // What so many ids or dates differ in is no slip: the rest is not told apart any more.
  static constexpr std::size_t kMost = 32;

  // To which unit the next record belongs, counted from 0.
  std::size_t add(const Record& record);
  // One for each unit but the first.
  [[nodiscard]] const std::vector<Difference>& differences() const { return differences_; }

 private:
  struct Unit {
    std::optional<int> built_first;  // months since year 0
    int built_last = 0;
    std::string_view family;
    std::string_view vehicle;
    std::optional<double> fitted;
    double reading = -1;  // the last one
    std::size_t newest = 0;
  };
  [[nodiscard]] static std::string_view difference(const Unit& unit, const Record& record);
  static void learn(Unit& unit, const Record& record);

  std::vector<Unit> units_;
  std::vector<std::size_t> last_;  // units, the one that was met last at the end
  std::vector<Difference> differences_;
  std::size_t count_ = 0;
};

// "b.json:7 and a.json:1 have one id, but differ in the build date".
std::string told(const Difference& difference, std::span<const Record> records);

}  // namespace dryshaft

#endif
