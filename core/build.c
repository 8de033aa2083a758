#include "build.h"

#include "strain.h"

double member_c_width_per_pct(const struct member *m)
{
	return strain_at_angle(m->wood.c_r_per_pct, m->wood.c_t_per_pct, m->ring_deg);
}

double member_c_thickness_per_pct(const struct member *m)
{
	/* growth rings stand at 90 - ring_deg to the thickness */
	return strain_at_angle(m->wood.c_r_per_pct, m->wood.c_t_per_pct, 90 - m->ring_deg);
}

double member_e_width_pa(const struct member *m)
{
	return m->ring_deg < 45 ? m->wood.e_r_pa : m->wood.e_t_pa;
}

size_t build_member(const struct build *b, enum member_role role)
{
	size_t i = 0;
	while (i < b->n_members && b->members[i].role != role)
		i++;
	return i;
}
