// refused: conversion from .double. to non-scalar type|no viable conversion|could not convert
// A number without an uncertainty has to say so.
#include "quantity/measured.hpp"

using namespace backeddy;

Measured uptake() {
#ifdef MUST_NOT_COMPILE
    const Measured value = 412.0;
#else
    const Measured value(412.0);
#endif
    return value;
}
