#include "build.h"

size_t build_member(const struct build *b, enum member_role role)
{
	size_t i = 0;
	while (i < b->n_members && b->members[i].role != role)
		i++;
	return i;
}
