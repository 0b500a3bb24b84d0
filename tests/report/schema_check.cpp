#include "report/schema_check.hpp"

#include <set>

namespace backeddy::report {

namespace {

using nlohmann::json;

class Validator {
  public:
    explicit Validator(const json& root) : root_(root) {}

    void check(const json& schema, const json& value, const std::string& at) {
        refuse_unknown_words(schema, at);
        if (schema.contains("$ref")) {
            const std::string name = schema["$ref"].get<std::string>();
            check(root_.at(json::json_pointer(name.substr(1))), value, at);
        }
        if (schema.contains("const") && schema["const"] != value) {
            say(at, "is not " + schema["const"].dump());
        }
        if (schema.contains("enum") && !in(schema["enum"], value)) {
            say(at, value.dump() + " is none of " + schema["enum"].dump());
        }
        if (schema.contains("type") && !has_type(schema["type"], value)) {
            say(at, value.dump().substr(0, 60) + " is no " + schema["type"].dump());
        }
        check_any_of(schema, value, at);
        check_number(schema, value, at);
        check_object(schema, value, at);
        if (schema.contains("items") && value.is_array()) {
            for (std::size_t i = 0; i < value.size(); ++i) {
                check(schema["items"], value[i], at + "/" + std::to_string(i));
            }
        }
        if (schema.contains("if") && Validator(root_).errors_of(schema["if"], value).empty()) {
            check(schema.at("then"), value, at);
        }
    }

    std::vector<std::string> errors_of(const json& schema, const json& value) {
        check(schema, value, "");
        return std::move(errors_);
    }

  private:
    void say(const std::string& at, const std::string& what) {
        if (errors_.size() < 50) {
            errors_.push_back((at.empty() ? "/" : at) + ": " + what);
        }
    }

    void refuse_unknown_words(const json& schema, const std::string& at) {
        static const std::set<std::string> known{
            "$schema",     "$id",     "$defs",    "$ref",      "title",
            "description", "type",    "required", "enum",      "properties",
            "items",       "anyOf",   "const",    "if",        "then",
            "minimum",     "maximum", "format",   "minLength", "additionalProperties"};
        for (const auto& [word, unused] : schema.items()) {
            if (!known.contains(word)) {
                say(at, "the schema uses \"" + word + "\", which this validator does not know");
            }
        }
    }

    static bool in(const json& list, const json& value) {
        for (const json& each : list) {
            if (each == value) {
                return true;
            }
        }
        return false;
    }

    static bool is_type(const std::string& type, const json& value) {
        return (type == "string" && value.is_string()) || (type == "number" && value.is_number()) ||
               (type == "integer" && value.is_number_integer()) ||
               (type == "boolean" && value.is_boolean()) || (type == "null" && value.is_null()) ||
               (type == "array" && value.is_array()) || (type == "object" && value.is_object());
    }

    static bool has_type(const json& type, const json& value) {
        if (type.is_string()) {
            return is_type(type.get<std::string>(), value);
        }
        for (const json& each : type) {
            if (is_type(each.get<std::string>(), value)) {
                return true;
            }
        }
        return false;
    }

    void check_any_of(const json& schema, const json& value, const std::string& at) {
        if (!schema.contains("anyOf")) {
            return;
        }
        std::string why;
        for (const json& each : schema["anyOf"]) {
            const auto errors = Validator(root_).errors_of(each, value);
            if (errors.empty()) {
                return;
            }
            why += " | " + errors.front();
        }
        say(at, "fits none of the alternatives" + why);
    }

    void check_number(const json& schema, const json& value, const std::string& at) {
        if (value.is_number()) {
            if (schema.contains("minimum") && value.get<double>() < schema["minimum"].get<double>()) {
                say(at, value.dump() + " is under the minimum");
            }
            if (schema.contains("maximum") && value.get<double>() > schema["maximum"].get<double>()) {
                say(at, value.dump() + " is over the maximum");
            }
        }
        if (value.is_string() && schema.contains("minLength") &&
            value.get<std::string>().size() < schema["minLength"].get<std::size_t>()) {
            say(at, "is too short");
        }
    }

    void check_object(const json& schema, const json& value, const std::string& at) {
        if (!value.is_object()) {
            return;
        }
        for (const json& name : schema.value("required", json::array())) {
            if (!value.contains(name.get<std::string>())) {
                say(at, "lacks " + name.dump());
            }
        }
        const json properties = schema.value("properties", json::object());
        for (const auto& [name, member] : value.items()) {
            if (properties.contains(name)) {
                check(properties[name], member, at + "/" + name);
            } else if (schema.contains("additionalProperties") && schema["additionalProperties"] == false) {
                say(at, "has \"" + name + "\", which the schema does not know");
            }
        }
    }

    const json& root_;
    std::vector<std::string> errors_;
};

} // namespace

std::vector<std::string> schema_errors(const json& schema, const json& document) {
    return Validator(schema).errors_of(schema, document);
}

} // namespace backeddy::report
