// What cannot lie after what: nothing is built after it was seen, and no odometer has said more
// than it says now.
#ifndef DRYSHAFT_VOCABULARY_ORDER_HPP
#define DRYSHAFT_VOCABULARY_ORDER_HPP

#include <string_view>

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

struct NotAfter {
  Field field;
  Field limit;
  std::string_view contradiction;  // its id, where a record says so all the same
};
inline constexpr NotAfter kNotAfter[] = {
    {Field::built, Field::date, "built-after-inspection"},
    {Field::fitted_odometer_km, Field::odometer_km, "fitted-after-inspection"},
    {Field::seal_renewed_odometer_km, Field::odometer_km, "renewed-after-inspection"},
    {Field::noise_onset_odometer_km, Field::odometer_km, "noise-before-it-began"},
};

// Work after the inspection that tells of it, before the unit was built, or where the readings
// around its day do not allow it; and work that a field of the unit tells otherwise.
inline constexpr std::string_view kMisplacedWork = "work-out-of-place";
inline constexpr std::string_view kWorkToldTwoWays = "work-told-two-ways";

}  // namespace dryshaft

#endif
