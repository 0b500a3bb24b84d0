#pragma once
// What the writers of the results document share: values, numbers with their uncertainty, and objects whose
// fields stand in the order given.

#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "report/json.hpp"
#include "report/json_stream.hpp"

namespace backeddy::report::detail {

/// "slope:s01a 7" is of the kind "slope", "spontaneous changes (recovery of F01)" of "spontaneous changes".
[[nodiscard]] std::string kind_of(const std::string& source);

/// Single values, and Numbers.
class ValueWriter {
  public:
    ValueWriter(JsonStream& out, Detail detail) : out_(out), detail_(detail) {}

    void put(const std::string& v) { out_.value(v); }
    void put(std::string_view v) { out_.value(v); }
    void put(double v);
    void put(bool v) { out_.value(v); }
    void put(std::uint32_t v) { out_.value(v); }
    void put(std::uint64_t v) { out_.value(v); }
    void put(Instant v) { out_.value(v); }
    void put(const Number& v);

  protected:
    JsonStream& out_;
    Detail detail_;

  private:
    void put_contributions(const Number& v);
};

/// A writer of structs: `Self` has one overload of put() per struct, its fields in the order of the header; a
/// test holds them against the schema.
template <typename Self>
class StructWriter : protected ValueWriter {
  public:
    using ValueWriter::put;

    template <typename T>
    void put(const std::optional<T>& v) {
        if (v) {
            self().put(*v);
        } else {
            out_.null();
        }
    }

    template <typename T>
    void put(const std::vector<T>& v) {
        out_.begin_array();
        for (const T& each : v) {
            self().put(each);
        }
        out_.end_array();
    }

    void put(const NamedText& v) { object("name", v.name, "text", v.text); }
    void put(const NamedNumber& v) { object("word", v.word, "title", v.title, "number", v.number); }
    void put(const Curve& v) { object("x", v.x, "y", v.y, "low", v.low, "high", v.high); }

  protected:
    template <typename T>
    void field(std::string_view name, const T& value) {
        out_.key(name);
        self().put(value);
    }

    void fields() {}
    template <typename T, typename... Rest>
    void fields(std::string_view name, const T& value, const Rest&... rest) {
        field(name, value);
        fields(rest...);
    }

    template <typename... Pairs>
    void object(const Pairs&... pairs) {
        out_.begin_object();
        fields(pairs...);
        out_.end_object();
    }

  private:
    friend Self;
    StructWriter(JsonStream& out, Detail detail) : ValueWriter(out, detail) {}
    Self& self() { return static_cast<Self&>(*this); }
};

} // namespace backeddy::report::detail
