// What the pages of this folder share.
#ifndef DRYSHAFT_PLAN_PAGES_HPP
#define DRYSHAFT_PLAN_PAGES_HPP

#include <string>
#include <utility>
#include <vector>

#include "report/document.hpp"

namespace dryshaft::plan {

// "HL-0102, Tarn (plover-2), 2026-03-04, 128,400 km"
std::string unit_line(const Report& report, Units units);
// A page that holds documents, each with the name of its unit.
Sheet page(const std::string& title,
           const std::vector<std::pair<std::string, document::Document>>& documents);
// An amount as people read it: so many significant digits, thousands separated.
std::string amount(double value, int digits);
// "1,000 to 2,300", or one of them where both read the same.
std::string amounts(double low, double high, int digits);

inline constexpr int kWorkshopDigits = 3;
inline constexpr int kOwnerDigits = 2;

}  // namespace dryshaft::plan

#endif
