// Photographs and what they are made of. Sources: RFC 4648, section 10 (base64); see photo.hpp for
// the heads of pictures.
#include "dryshaft/photo.hpp"

#include <catch2/catch.hpp>
#include <memory>
#include <set>
#include <string>
#include <string_view>

#include "base/base64.hpp"
#include "drawings/drawings.hpp"
#include "dryshaft/record.hpp"
#include "record/photos.hpp"

using namespace dryshaft;

namespace {

using namespace std::string_literals;

std::string gif(char width, char height, std::size_t padding = 0) {
  return "GIF89a"s + width + "\0"s + height + "\0\0\0\0"s + std::string(padding, 'p');
}

Record record_with(const std::vector<std::string>& photos) {
  std::string list;
  for (const std::string& photo : photos) {
    list += (list.empty() ? "\"" : ",\"") + photo + "\"";
  }
  const std::string text =
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-02","photos":[)" +
      list + "]}}";
  const Result<Record> read = read_record(text, "r.json", 1, 1, {});
  REQUIRE(read.value);
  return *read.value;
}

PhotoFile file(std::string bytes) {
  return {std::make_shared<const std::string>(std::move(bytes)), {}, {}};
}

}  // namespace

TEST_CASE("base64 goes both ways", "[photo]") {
  const std::pair<std::string, std::string> kVectors[] = {{"", ""},
                                                          {"f", "Zg=="},
                                                          {"fo", "Zm8="},
                                                          {"foo", "Zm9v"},
                                                          {"foob", "Zm9vYg=="},
                                                          {"fooba", "Zm9vYmE="},
                                                          {"foobar", "Zm9vYmFy"},
                                                          {"\xFB\xFF\xFE"s, "+//+"}};
  for (const auto& [bytes, text] : kVectors) {
    CHECK(to_base64(bytes) == text);
    CHECK(from_base64(text) == bytes);
  }
  for (const std::string_view wrong : {"Z", "Zg", "Zg=", "Zg===", "====", "Z===", "Zh==", "Zm9=",
                                       "Zm9v\n", "Zm 9", "Zg==Zg==", "-__-"}) {
    CAPTURE(wrong);
    CHECK_FALSE(from_base64(wrong));
  }
}

TEST_CASE("a picture is what its head says, and has a sane size", "[photo]") {
  const auto found = picture_in(gif(30, 20));
  REQUIRE(found);
  CHECK((found->kind == PictureKind::gif && found->width == 30 && found->height == 20));
  for (const std::string& none : {""s, "GIF89a"s, gif(0, 20), "\xFF\xD8\xFF"s,
                                  "\xFF\xD8\xFF\xDA\0\x04"s, "<svg/>"s, "RIFF....WEBP"s}) {
    CHECK_FALSE(picture_in(none));
  }
  // Segments of no length do not hold it up.
  CHECK_FALSE(picture_in("\xFF\xD8\xFF\xE0\0\0"s + std::string(100, '\xFF')));
  // 30,000 to a side, and so many in all.
  const auto png = [](const std::string& size) { return "\x89PNG\r\n\x1A\n\0\0\0\rIHDR"s + size; };
  CHECK(picture_in(png("\0\0\x1F\x40\0\0\x1F\x40"s)));        // 8,000 x 8,000
  CHECK_FALSE(picture_in(png("\0\0\x1F\x40\0\0\x1F\x41"s)));  // one row more
  CHECK_FALSE(picture_in(png("\0\0\x75\x31\0\0\0\x01"s)));    // 30,001 wide
}

TEST_CASE("files are handed in, newest record first, as far as there is room", "[photo]") {
  History unit;
  unit.records = {record_with({"old.gif"}), record_with({"new.gif", "no.txt"})};
  std::vector<std::string> asked;
  const auto read = [&](const Record& r, const std::string& name) {
    CHECK(r.unit_id == "HL-1");
    asked.push_back(name);
    return name == "no.txt" ? file("plain text") : file(gif(3, 2, 1000));
  };
  std::size_t room = 1500;
  const auto warnings = hand_in_photos(unit, room, read);
  CHECK(asked == std::vector<std::string>{"new.gif", "no.txt", "old.gif"});
  CHECK(room == 1500 - gif(3, 2, 1000).size());
  CHECK(unit.records[1].photos[0].bytes != nullptr);
  CHECK(unit.records[0].photos[0].bytes == nullptr);
  CHECK(unit.records[0].photos[0].not_shown ==
        "those before it are all that a page of many units shows");
  REQUIRE(warnings.size() == 2);
  CHECK(warnings[1].message ==
        "is \"no.txt\", and not shown: no JPEG, PNG, WebP or GIF picture, or a damaged one");
  CHECK(warnings[1].pointer == "/inspection/photos/1");
  CHECK(warnings[1].line == 1);
  CHECK(warnings[1].severity == Severity::warning);
}

TEST_CASE("a picture inside a record is read with it", "[photo]") {
  const Record r = record_with({"data:image/gif;base64," + to_base64(gif(30, 20)), "tip.jpg"});
  REQUIRE(r.photos.size() == 2);
  CHECK(r.photos[0].name.empty());
  REQUIRE(r.photos[0].bytes);
  CHECK(*r.photos[0].bytes == gif(30, 20));
  CHECK(r.photos[1].name == "tip.jpg");
  CHECK(r.photos[1].bytes == nullptr);
  CHECK(r.at(Field::photos).code == 2);
  CHECK_FALSE(photo_inside("data:image/gif;base64,"));
  CHECK_FALSE(photo_inside("data:image/svg+xml;base64,AAAA"));
}

TEST_CASE("drawings have names, words and nothing that runs", "[drawings]") {
  std::set<std::string_view> names;
  for (const Drawing& d : drawings()) {
    CAPTURE(d.name);
    CHECK(names.insert(d.name).second);
    CHECK_FALSE(d.title.empty());
    CHECK(d.text.ends_with("."));
    CHECK(d.text.find_first_of("\"<>&") == std::string_view::npos);
    CHECK(d.svg.starts_with("<svg viewBox=\"0 0 "));
    for (const std::string_view part : {"<script", "href", "onload", "id=", "<style", "url("}) {
      CHECK(d.svg.find(part) == std::string_view::npos);
    }
    CHECK(drawn(d).find("em\" aria-label=\"" + std::string(d.title) + ". ") != std::string::npos);
  }
  for (const std::string_view access : {"wheel-arch", "under-floor"}) {
    CHECK(drawing_of_access(access) != nullptr);
  }
  CHECK(drawing_of_access("") == nullptr);
  CHECK(drawing_of_field(Field::note) == nullptr);
  for (const std::string_view name : {kPortDrawing, kLeakDrawing, kGradesDrawing}) {
    CHECK(drawing_named(name) != nullptr);
  }
}
