// Numbers as people read them.
#ifndef DRYSHAFT_REPORT_WORDS_HPP
#define DRYSHAFT_REPORT_WORDS_HPP

#include <optional>
#include <string>
#include <string_view>

#include "dryshaft/report.hpp"

namespace dryshaft::words {

// Digits after the point with which every format writes a number.
inline constexpr int kProbabilityDigits = 4;
inline constexpr int kDecibanDigits = 1;
inline constexpr int kBitDigits = 4;

// Rounded half away from zero to 0 to 6 digits, and never minus zero.
double rounded(double value, int digits);

// Shortest decimal text that reads back as the rounded value; nothing where
// the value is not finite.
std::optional<std::string> plain_number(double value, int digits);

// "93 %"; never certain: "under 1 %", "over 99 %".
std::string percent(double probability);
// The same for a narrow column: "<1 %", ">99 %".
std::string short_percent(double probability);

// 1, 2 or 5 times a power of ten, so that at most about `parts` steps fill the range.
double round_step(double range, double parts);

std::string_view unit_name(Units units);
// A distance in km, as a number in other units.
double in_units(double km, Units units);
// An odometer reading or distance: "182,400 km", whole.
std::string distance(double km, Units units);
// A distance that must not be exceeded: rounded down, to 3 digits in km and to
// 2 after a conversion into miles.
std::string limit(double km, Units units);  // "500", without the unit
std::string days(double days);              // "14 days", "1 year"

// "within 500 km or 14 days", "before any further driving", of a core "before it is energised or
// fitted", of an open one "before it is closed"; empty: no limit.
std::string deadline(const std::optional<double>& within_km,
                     const std::optional<double>& within_days, Units units,
                     Whereabouts whereabouts = Whereabouts::in_use);
// The same for a narrow column headed "km/days": "500/14", "-/14", "-".
std::string short_deadline(const std::optional<double>& within_km,
                           const std::optional<double>& within_days, Units units);

// How much a weight of evidence says, in a word or two.
std::string_view weight(double decibans);

// "a", "a or b", "a, b or c".
std::string either(const std::vector<Grade>& grades);

// "1 unit", "2 units"; with `or_more` "at least 2 units".
std::string count(std::size_t number, std::string_view one, std::string_view many,
                  bool or_more = false);

// A key of the shop's own as a title: "bay no" of "x_bay_no".
std::string own_title(std::string_view key);
// What the unit has for it; empty: nothing.
std::string_view own_of(const Report& report, std::string_view key);

// "2026-01-02, 150,000 km: rotor shaft seal renewed (done elsewhere)"; for an owner what was done,
// in plain words.
std::string work_done(const HistoryWork& work, Audience audience, Units units);

}  // namespace dryshaft::words

#endif
