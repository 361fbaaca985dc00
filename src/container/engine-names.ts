/** The engines that a kit can be run by, in the order in which they are looked for. */
export const engineNames = ['docker', 'podman', 'buildah'] as const;
export type EngineName = (typeof engineNames)[number];
