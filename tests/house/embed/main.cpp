// Some public headers, and calls into the library, from outside.
#include <dryshaft/diagnostic.hpp>
#include <dryshaft/form.hpp>
#include <dryshaft/record.hpp>
#include <dryshaft/report.hpp>
#include <dryshaft/vocabulary.hpp>

int main() {
  const dryshaft::Records read = dryshaft::read_records(
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"date":"2026-03-02"}})",
      "embedded", {});
  return read.records.size() == 1 && read.records[0].unit_id == "HL-0147" ? 0 : 1;
}
