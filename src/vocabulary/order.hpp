// What cannot lie after what: nothing is built after it was seen, and no odometer has said more
// than it says now.
#ifndef DRYSHAFT_VOCABULARY_ORDER_HPP
#define DRYSHAFT_VOCABULARY_ORDER_HPP

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

struct NotAfter {
  Field field;
  Field limit;
};
inline constexpr NotAfter kNotAfter[] = {
    {Field::built, Field::date},
    {Field::fitted_odometer_km, Field::odometer_km},
    {Field::seal_renewed_odometer_km, Field::odometer_km},
    {Field::noise_onset_odometer_km, Field::odometer_km},
};

}  // namespace dryshaft

#endif
