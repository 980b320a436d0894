// Grades the records of a file, which it reads piece by piece, and one that it fills itself.
//
//     grade DATA FILE         # DATA holds rules and families, such as /usr/local/share/dryshaft
#include <dryshaft/dryshaft.hpp>
#include <dryshaft/stream.hpp>
#include <fstream>
#include <iostream>
#include <iterator>
#include <string>
#include <utility>
#include <vector>

namespace {

int complain(const std::vector<dryshaft::Diagnostic>& complaints) {
  int errors = 0;
  for (const dryshaft::Diagnostic& d : complaints) {
    std::cerr << to_text(d);
    errors += d.severity == dryshaft::Severity::error ? 1 : 0;
  }
  return errors;
}

// What a program knows of a unit from elsewhere, say its own form.
dryshaft::Record filled_record(double odometer_km) {
  dryshaft::Record record;
  const auto set = [&](dryshaft::Field field, dryshaft::Value value) {
    value.observed = true;
    record.values[static_cast<std::size_t>(field)] = value;
  };
  record.unit_id = "HL-9001";
  record.family = "plover-2";
  set(dryshaft::Field::date, {.number = double(dryshaft::days_from_date(2026, 3, 18))});
  set(dryshaft::Field::odometer_km, {.number = odometer_km});
  set(dryshaft::Field::port_checked, {.code = 1});
  return record;
}

}  // namespace

int main(int count, char** arguments) {
  if (count != 3) {
    std::cerr << "usage: grade DATA FILE\n";
    return 2;
  }
  const auto grader = dryshaft::Grader::open(arguments[1]);
  complain(grader.diagnostics);
  if (!grader.value) {
    return 2;
  }

  int errors = 0;
  std::vector<dryshaft::Record> records;
  const auto take = [&](dryshaft::Records read) {
    errors += complain(read.diagnostics);
    std::move(read.records.begin(), read.records.end(), std::back_inserter(records));
  };
  std::ifstream file(arguments[2], std::ios::binary);
  dryshaft::RecordStream stream(arguments[2], grader.value->read_options());
  for (std::string piece(4096, '\0'); file;) {
    file.read(piece.data(), static_cast<std::streamsize>(piece.size()));
    take(stream.next({piece.data(), static_cast<std::size_t>(file.gcount())}));
  }
  take(stream.finish());

  // No odometer runs below 0: this one is refused, and nothing is graded by it.
  for (const double odometer_km : {-80000.0, 80000.0}) {
    dryshaft::Record record = filled_record(odometer_km);
    const auto faults = validate(record, grader.value->read_options());
    complain(faults);
    if (faults.empty()) {
      records.push_back(std::move(record));
    }
  }

  const auto units = dryshaft::group_by_unit(std::move(records));
  errors += complain(units.diagnostics);
  for (const dryshaft::History& unit : *units.value) {
    const dryshaft::Report report = grader.value->report(unit);
    std::cout << report.unit_id << ": " << name(report.grade) << ", " << report.headline << '\n';
  }
  return errors == 0 ? 0 : 3;
}
