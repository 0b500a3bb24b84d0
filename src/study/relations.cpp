#include "study/relations.hpp"
