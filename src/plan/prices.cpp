// Reads price books.
#include <fmt/format.h>

#include "base/index.hpp"
#include "base/sha256.hpp"
#include "dryshaft/plan.hpp"
#include "knowledge/object_view.hpp"

namespace dryshaft {
namespace {

using located::Kind;
using located::Node;

struct PriceSpec {
  std::string_view name;
  std::string_view title;
};
constexpr std::array<PriceSpec, kPriceCount> kPrices = {{
    {"check", "port check"},
    {"bypass", "bypass"},
    {"rebuild", "rebuild"},
    {"gear_bearings", "gearbox input bearings"},
    {"major_parts", "major parts"},
    {"replacement_unit", "replacement unit"},
    {"loss", "loss of a unit on the road"},
    {"core", "core value"},
    {"rebuilt_unit", "rebuilt unit"},
    {"downtime_day", "day out of use"},
    {"hour", "hour of work"},
    {"sound_unit", "good unit as it is"},
}};

// What stands for a price that need not be there; nothing: it must be.
std::optional<PriceKind> price_instead(PriceKind kind) {
  switch (kind) {
    case PriceKind::rebuilt_unit:
      return PriceKind::replacement;
    case PriceKind::sound_unit:
      return PriceKind::core;
    default:
      return std::nullopt;
  }
}

Price price_at(ObjectView& parent, const Node& node) {
  if (node.kind != Kind::object) {
    if (node.kind != Kind::number) {
      parent.complain(node, "wrong-type",
                      fmt::format("is {}", located::shown(parent.document(), node)),
                      R"(a number, or {"low": ..., "likely": ..., "high": ...})");
      return {};
    }
    const double value = parent.number_at(node, 0, kHighestPrice);
    return {value, value, value};
  }
  ObjectView view(parent.document(), node, parent.complaints());
  Price p;
  p.low = view.number("low", 0, kHighestPrice);
  p.likely = view.number("likely", 0, kHighestPrice);
  p.high = view.number("high", 0, kHighestPrice);
  view.done();
  if (const bool whole = view.optional("low") != nullptr && view.optional("likely") != nullptr &&
                         view.optional("high") != nullptr;
      whole && (p.low > p.likely || p.likely > p.high)) {
    view.complain(node, "out-of-order", fmt::format("has {}, {}, {}", p.low, p.likely, p.high),
                  "low, likely and high that do not fall");
  }
  return p;
}

}  // namespace

std::string_view name(PriceKind kind) { return kPrices[idx(kind)].name; }
std::string_view title(PriceKind kind) { return kPrices[idx(kind)].title; }

Result<PriceBook> load_prices(const NamedText& file) {
  Result<PriceBook> result;
  PriceBook book;
  book.source = file.name;
  book.sha256 = sha256_hex(file.text);
  const located::Document document(file.text, {.source = file.name}, kDataLimits,
                                   result.diagnostics);
  if (!document.usable()) {
    return result;
  }
  ObjectView top(document, document.root(), result.diagnostics);
  if (!top.is_object()) {
    return result;
  }
  top.word("format", {kPricesFormat});
  book.currency = top.name("currency");
  top.optional_text("note");
  if (const Node* node = top.required("prices")) {
    ObjectView prices(document, *node, result.diagnostics);
    for (std::size_t i = 0; i < kPriceCount && prices.is_object(); ++i) {
      const auto kind = static_cast<PriceKind>(i);
      const auto other = price_instead(kind);
      const Node* price =
          other ? prices.optional(kPrices[i].name) : prices.required(kPrices[i].name);
      if (price != nullptr) {
        book.price[i] = price_at(prices, *price);
      } else if (other) {
        book.price[i] = book.at(*other);
      }
    }
    prices.done();
  }
  top.done();
  if (!result.has_errors()) {
    result.value = std::move(book);
  }
  return result;
}

}  // namespace dryshaft
